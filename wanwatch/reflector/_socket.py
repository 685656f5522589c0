"""A UDP socket on which the kernel says when, how and to which address a datagram came.

Sources: socket(7) and ip(7), ipv6(7); RFC 3542 (IPv6 hop limit and packet information).
"""

import contextlib
import ipaddress
import socket
import struct
from collections.abc import Callable
from typing import Final, NamedTuple

# asm-generic/socket.h and linux/in.h; Python's socket module does not carry these.
_SO_TIMESTAMPNS: Final = 35
_IP_PKTINFO: Final = 8
_IP_RECVTTL: Final = 12

_TIMESPEC: Final = struct.Struct("@ll")
_INT: Final = struct.Struct("@i")
_PKTINFO4: Final = struct.Struct("@i4s4s")
_PKTINFO6: Final = struct.Struct("@16si")
_ROOM: Final = 256  # a timestamp, a hop limit and a packet information, each with its header
_LONGEST: Final = 65_535
_NS_PER_S: Final = 1_000_000_000

Ancillary = list[tuple[int, int, bytes]]
Peer = tuple[str, int] | tuple[str, int, int, int]


class Datagram(NamedTuple):
    """A datagram and what the kernel knew of it.

    Attributes:
        data: The payload.
        peer: The sender's socket address.
        received_unix_ns: When the kernel took it in (wall clock).
        hop_limit: TTL or hop limit as received; 0 where the kernel did not say.
        back: What to send along, so that the answer leaves from the address that was asked.
    """

    data: bytes
    peer: Peer
    received_unix_ns: int
    hop_limit: int
    back: Ancillary


def open_udp(address: str, port: int) -> socket.socket:
    """Bind a non-blocking socket; the address `::` takes datagrams of both families, any other of its own only.

    Raises:
        ValueError: *address* is no IP address.
        OSError: It cannot be bound.
    """
    ip = ipaddress.ip_address(address)
    family = socket.AF_INET6 if isinstance(ip, ipaddress.IPv6Address) else socket.AF_INET
    sock = socket.socket(family, socket.SOCK_DGRAM | socket.SOCK_NONBLOCK)
    try:
        sock.setsockopt(socket.SOL_SOCKET, _SO_TIMESTAMPNS, 1)
        sock.setsockopt(socket.IPPROTO_IP, _IP_RECVTTL, 1)  # on an IPv6 socket: for the IPv4 datagrams that it takes
        if family == socket.AF_INET6:
            sock.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_V6ONLY, not ip.is_unspecified)
            sock.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_RECVHOPLIMIT, 1)
            sock.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_RECVPKTINFO, 1)
        else:
            sock.setsockopt(socket.IPPROTO_IP, _IP_PKTINFO, 1)
        # getaddrinfo, because a link-local address such as fe80::1%eth0 needs its interface's number.
        sock.bind(socket.getaddrinfo(address, port, family, socket.SOCK_DGRAM)[0][4])
    except BaseException:
        sock.close()
        raise
    return sock


def receive(sock: socket.socket, now_unix_ns: Callable[[], int]) -> Datagram | None:
    """Take one datagram, or None if there is none (an error that an ICMP message left behind counts as none)."""
    try:
        data, ancillary, _, peer = sock.recvmsg(_LONGEST, _ROOM)
    except OSError:
        return None
    return read_ancillary(data, peer, ancillary, now_unix_ns)


def read_ancillary(
    data: bytes,
    peer: Peer,
    ancillary: Ancillary,
    now_unix_ns: Callable[[], int],
) -> Datagram:
    """Read the control messages of one datagram; the wall clock stands in for a missing kernel timestamp."""
    received_unix_ns, hop_limit, back = None, 0, Ancillary()
    for level, kind, value in ancillary:
        match level, kind:
            case socket.SOL_SOCKET, 35:  # _SO_TIMESTAMPNS: the kernel answers with the option's own number
                seconds, nanoseconds = _TIMESPEC.unpack_from(value)
                received_unix_ns = seconds * _NS_PER_S + nanoseconds
            case (socket.IPPROTO_IP, socket.IP_TTL) | (socket.IPPROTO_IPV6, socket.IPV6_HOPLIMIT):
                (hop_limit,) = _INT.unpack_from(value)
            case socket.IPPROTO_IP, 8:  # _IP_PKTINFO
                _, local, _ = _PKTINFO4.unpack_from(value)
                back.append((level, kind, _PKTINFO4.pack(0, local, bytes(4))))  # 0: by whatever route leads there
            case socket.IPPROTO_IPV6, socket.IPV6_PKTINFO:
                local, _ = _PKTINFO6.unpack_from(value)
                back.append((level, kind, _PKTINFO6.pack(local, 0)))
    if received_unix_ns is None:
        received_unix_ns = now_unix_ns()
    return Datagram(data, peer, received_unix_ns, hop_limit, back)


def send_back(sock: socket.socket, answer: bytes, datagram: Datagram) -> bool:
    """Answer *datagram*; False where the answer could not leave, which is as good as a lost packet."""
    with contextlib.suppress(OSError):
        sock.sendmsg([answer], datagram.back, 0, datagram.peer)
        return True
    return False
