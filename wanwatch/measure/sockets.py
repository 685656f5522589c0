"""Sockets that leave by one uplink, and what their errors and control messages mean.

Sources: Linux socket(7), ip(7), ipv6(7), raw(7) and icmp(7); RFC 2474 section 3 (DSCP is the upper six bits of the
octet); linux/errqueue.h.
"""

import contextlib
import errno
import socket
import struct
from collections.abc import Mapping
from ipaddress import ip_address
from typing import Final, NamedTuple, TypeAlias

from wanwatch.core.model import NS_PER_S, Cause, Pin
from wanwatch.core.wire import icmp

Sender: TypeAlias = tuple[str, int] | tuple[str, int, int, int]

# Not all of these are in Python's socket module; numbers of the generic Linux ABI.
_SO_RCVBUFFORCE: Final = 33
_SO_TIMESTAMPNS: Final = 35
_ICMP_FILTER: Final = 1
_IP_RECVERR: Final = 11
_IPV6_RECVERR: Final = 25
_MSG_ERRQUEUE: Final = 0x2000
_SO_MEMINFO: Final = 55
_MEMINFO: Final = struct.Struct("=9I")
_MEMINFO_DROPS: Final = 8
_RECEIVE_BUFFER_BYTES: Final = 4 << 20

_TIMESPEC: Final = struct.Struct("@ll")
_EXTENDED_ERROR: Final = struct.Struct("=IBBBBII")
_ORIGIN_ICMP: Final = {2: 4, 3: 6}
CONTROL_BYTES: Final = socket.CMSG_SPACE(_TIMESPEC.size)
_ERROR_CONTROL_BYTES: Final = 512
_PACKET_BYTES: Final = 2048

_NOT_SENT: Final[Mapping[int, Cause]] = {
    errno.ENODEV: Cause.NO_INTERFACE,
    errno.ENXIO: Cause.NO_INTERFACE,
    errno.ENETDOWN: Cause.INTERFACE_DOWN,
    errno.EADDRNOTAVAIL: Cause.NO_ADDRESS,
    errno.ENETUNREACH: Cause.NO_ROUTE,
    errno.EHOSTUNREACH: Cause.NO_ROUTE,
    errno.EPERM: Cause.NOT_PERMITTED,
    errno.EACCES: Cause.NOT_PERMITTED,
    errno.ENOBUFS: Cause.NO_BUFFER,
    errno.EAGAIN: Cause.NO_BUFFER,
}


def not_sent_cause(error: OSError, pin: Pin) -> Cause:
    """Return why a socket with this *pin* could not be made, or could not send."""
    # A socket whose address has gone gets EINVAL or ENETUNREACH, by the kernel's age.
    if pin.sources and not any(is_own(source) for source in pin.sources):
        return Cause.NO_ADDRESS
    return _NOT_SENT.get(error.errno or 0, Cause.ERROR)


def resolve(address: str, port: int = 0) -> tuple[socket.AddressFamily, Sender]:
    """Return family and socket address of a numeric *address*, with its scope if it has one. Asks nobody."""
    found = socket.getaddrinfo(address, port, type=socket.SOCK_DGRAM, flags=socket.AI_NUMERICHOST)
    family, _, _, _, sender = found[0]
    return family, sender  # type: ignore[return-value] # the other shape is for builds without IPv6


def open_pinned(pin: Pin, family: socket.AddressFamily, kind: socket.SocketKind, protocol: int = 0) -> socket.socket:
    """Return a non-blocking socket whose packets leave as *pin* says.

    Raises:
        OSError: It cannot be made; see `not_sent_cause`.
    """
    made = socket.socket(family, kind | socket.SOCK_NONBLOCK, protocol)
    try:
        _fasten(made, pin, family)
    except BaseException:
        made.close()
        raise
    return made


def _fasten(made: socket.socket, pin: Pin, family: socket.AddressFamily) -> None:
    if pin.interface is not None:
        made.setsockopt(socket.SOL_SOCKET, socket.SO_BINDTODEVICE, pin.interface.encode() + b"\0")
    if pin.mark is not None:
        made.setsockopt(socket.SOL_SOCKET, socket.SO_MARK, pin.mark)
    if pin.dscp is not None and family == socket.AF_INET:
        made.setsockopt(socket.IPPROTO_IP, socket.IP_TOS, pin.dscp << 2)
    elif pin.dscp is not None:
        made.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_TCLASS, pin.dscp << 2)
    if pin.sources:
        made.bind(_own(pin.sources, family))


def _own(sources: tuple[str, ...], family: socket.AddressFamily) -> Sender:
    for source in sources:
        found, own = resolve(source)
        if found == family:
            return own
    raise OSError(errno.EADDRNOTAVAIL, "no source address of this family")


def families(pin: Pin) -> list[int]:
    """Return the versions of IP that can leave as *pin* says: those that it has sources of, IPv6 before IPv4."""
    sources = {resolve(source)[0] for source in pin.sources}
    known = {6: socket.AF_INET6, 4: socket.AF_INET}
    return [version for version, family in known.items() if not sources or family in sources]


def open_datagram(pin: Pin, family: socket.AddressFamily) -> socket.socket:
    """Return a pinned UDP socket that stamps arrivals and keeps ICMP errors (OSError as `open_pinned`)."""
    return _watchful(open_pinned(pin, family, socket.SOCK_DGRAM), family)


def open_icmp(pin: Pin, family: socket.AddressFamily) -> tuple[socket.socket, bool]:
    """Return a pinned ICMP socket for echo replies, and whether it is a raw one (OSError as `open_pinned`).

    The unprivileged kind is taken where net.ipv4.ping_group_range allows it.
    """
    protocol = socket.IPPROTO_ICMP if family == socket.AF_INET else socket.IPPROTO_ICMPV6
    with contextlib.suppress(PermissionError):
        return _watchful(open_pinned(pin, family, socket.SOCK_DGRAM, protocol), family), False
    raw = open_pinned(pin, family, socket.SOCK_RAW, protocol)
    if family == socket.AF_INET:  # a set bit keeps a type out
        raw.setsockopt(socket.IPPROTO_RAW, _ICMP_FILTER, struct.pack("=I", 0xFFFF_FFFF & ~(1 << 0)))
    else:
        words = [0xFFFF_FFFF] * 8
        words[129 >> 5] &= ~(1 << (129 & 31))
        raw.setsockopt(socket.IPPROTO_ICMPV6, _ICMP_FILTER, struct.pack("=8I", *words))
    return _watchful(raw, family), True


def _watchful(made: socket.socket, family: socket.AddressFamily) -> socket.socket:
    made.setsockopt(socket.SOL_SOCKET, _SO_TIMESTAMPNS, 1)
    try:
        made.setsockopt(socket.SOL_SOCKET, _SO_RCVBUFFORCE, _RECEIVE_BUFFER_BYTES)
    except PermissionError:
        made.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, _RECEIVE_BUFFER_BYTES)
    if family == socket.AF_INET:
        made.setsockopt(socket.IPPROTO_IP, _IP_RECVERR, 1)
    else:
        made.setsockopt(socket.IPPROTO_IPV6, _IPV6_RECVERR, 1)
    return made


def stamp_unix_ns(control: list[tuple[int, int, bytes]]) -> int | None:
    """Return the wall-clock instant at which the kernel received a packet, if its *control* messages tell."""
    for level, kind, data in control:
        if kind == _SO_TIMESTAMPNS and level == socket.SOL_SOCKET:
            seconds, rest = _TIMESPEC.unpack_from(data)
            return int(seconds) * NS_PER_S + int(rest)
    return None


def dropped(sock: socket.socket) -> int:
    """Return how many packets the kernel has thrown away that were meant for *sock*: its receive buffer was full.

    A UDP datagram whose checksum is wrong counts as well; the kernel makes no difference. 0 where it cannot tell.
    """
    try:
        return int(_MEMINFO.unpack(sock.getsockopt(socket.SOL_SOCKET, _SO_MEMINFO, _MEMINFO.size))[_MEMINFO_DROPS])
    except (OSError, struct.error):
        return 0


class Refused(NamedTuple):
    """An ICMP error that came back for a packet of ours.

    Attributes:
        cause: What it says.
        by: Who says so.
        toward: Where our packet was bound for.
        original: What the error quotes of our packet, from behind its IP (and UDP) header.
    """

    cause: Cause
    by: str
    toward: Sender
    original: bytes


def read_refusal(sock: socket.socket) -> Refused | None:
    """Take the next ICMP error from the error queue of *sock*; other news in there reads as None.

    Raises:
        BlockingIOError: The queue is empty.
    """
    original, control, _, toward = sock.recvmsg(_PACKET_BYTES, _ERROR_CONTROL_BYTES, _MSG_ERRQUEUE)
    for level, kind, data in control:
        if (level, kind) in ((socket.IPPROTO_IP, _IP_RECVERR), (socket.IPPROTO_IPV6, _IPV6_RECVERR)):
            _, origin, icmp_type, code, _, _, _ = _EXTENDED_ERROR.unpack_from(data)
            version = _ORIGIN_ICMP.get(origin)
            cause = icmp.refusal(version, icmp_type, code) if version else None
            if version and cause:
                return Refused(cause, _offender(version, data[_EXTENDED_ERROR.size :]), toward, original)
    return None


def _offender(version: int, sockaddr: bytes) -> str:
    octets = sockaddr[4:8] if version == 4 else sockaddr[8:24]  # noqa: PLR2004 - the number is the protocol's name
    return str(ip_address(octets))


def is_own(address: str) -> bool:
    """Tell whether *address* is one of this machine's."""
    try:
        family, own = resolve(address)
        with socket.socket(family, socket.SOCK_DGRAM) as trial:
            trial.bind(own)
    except OSError:
        return False
    return True


def index_of(pin: Pin) -> int | None:
    """Return the index of the interface that *pin* names; None if it names none or there is no such interface."""
    if pin.interface is not None:
        with contextlib.suppress(OSError):
            return socket.if_nametoindex(pin.interface)
    return None
