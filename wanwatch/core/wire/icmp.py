"""ICMP echo packets: bytes to values and back; and what ICMP errors mean.

Sources:     RFC 1071 (checksum); RFC 792 (echo, unreachable, time exceeded); RFC 1812 section 5.2.7.1 (codes 9 to 13);
             RFC 4443 (IPv6); RFC 4820 is not used: the data is ours to choose.
Departures:  a bad checksum is Malformed, not dropped, so that a broken path can be told from a quiet one. ICMPv6
             packets are built with an empty checksum and read without checking it: the kernel does both, since only
             it knows the addresses of the pseudo-header (RFC 3542 section 3.1).
"""

import struct
from collections.abc import Mapping
from typing import Final, NamedTuple

from wanwatch.core.model import Cause
from wanwatch.core.wire.malformed import Malformed

HEADER_BYTES: Final = 8
_HEADER: Final = struct.Struct("!BBHHH")
_REQUEST: Final = {4: 8, 6: 128}
_REPLY: Final = {4: 0, 6: 129}


class Echo(NamedTuple):
    """An echo request or reply.

    Attributes:
        identifier: Whose echo it is, 0 to 65535; Linux replaces it on a datagram ICMP socket.
        sequence: Which of them, 0 to 65535.
        data: What is to be sent back unchanged.
        reply: False for a request.
    """

    identifier: int
    sequence: int
    data: bytes
    reply: bool = False


def checksum(data: bytes) -> int:
    """Return the Internet checksum of *data*: the complement of the one's-complement sum of its 16-bit words.

    Data that carries its own right checksum gives 0. Odd data is padded by one zero octet.

    Source: RFC 1071 sections 1 and 2. As 2**16 is 1 modulo 65535, the whole number modulo 65535 is the folded sum;
    only the two zeros of one's complement need care: a sum of words that are not all zero folds to 0xFFFF, never to 0.
    """
    number = int.from_bytes(data + b"\0" if len(data) % 2 else data, "big")
    return 0xFFFF ^ ((number % 0xFFFF or 0xFFFF) if number else 0)


def build_echo(version: int, echo: Echo) -> bytes:
    """Return the octets of *echo* for IP *version* 4 or 6; the checksum of version 6 is left to the kernel."""
    identifier, sequence, data, reply = echo
    packet = _HEADER.pack((_REPLY if reply else _REQUEST)[version], 0, 0, identifier, sequence) + data
    if version == 6:  # noqa: PLR2004 - the number is the protocol's name
        return packet
    return packet[:2] + checksum(packet).to_bytes(2, "big") + packet[4:]


def parse_echo(version: int, packet: bytes) -> Echo | Malformed:
    """Read an echo request or reply of IP *version* 4 or 6 that begins at its ICMP header."""
    if len(packet) < HEADER_BYTES:
        return Malformed("shorter than an echo header")
    kind, code, _, identifier, sequence = _HEADER.unpack_from(packet)
    if code or kind not in (_REPLY[version], _REQUEST[version]):
        return Malformed("not an echo")
    if version == 4 and checksum(packet):  # noqa: PLR2004 - the number is the protocol's name
        return Malformed("bad checksum")
    return Echo(identifier, sequence, packet[HEADER_BYTES:], kind == _REPLY[version])


def strip_ipv4(packet: bytes) -> bytes | Malformed:
    """Return what follows the IPv4 header, options included, of *packet*, as a raw socket delivers it.

    Source: RFC 791 section 3.1.
    """
    if not packet or packet[0] >> 4 != 4:  # noqa: PLR2004 - the number is the protocol's name
        return Malformed("not IPv4")
    length = (packet[0] & 0xF) * 4
    if length < 20 or len(packet) < length:  # noqa: PLR2004 - RFC 791: five words at least
        return Malformed("shorter than its IPv4 header")
    return packet[length:]


_UNREACHABLE_4: Final[Mapping[int, Cause]] = {
    0: Cause.NET_UNREACHABLE,
    1: Cause.HOST_UNREACHABLE,
    2: Cause.PORT_UNREACHABLE,  # the protocol, which is as little served there as a closed port
    3: Cause.PORT_UNREACHABLE,
    4: Cause.PACKET_TOO_BIG,
    5: Cause.NET_UNREACHABLE,  # source route failed
    6: Cause.NET_UNREACHABLE,
    7: Cause.HOST_UNREACHABLE,
    8: Cause.HOST_UNREACHABLE,  # source host isolated
    9: Cause.PROHIBITED,
    10: Cause.PROHIBITED,
    11: Cause.NET_UNREACHABLE,  # for this type of service
    12: Cause.HOST_UNREACHABLE,  # for this type of service
    13: Cause.PROHIBITED,
    14: Cause.PROHIBITED,
    15: Cause.PROHIBITED,
}
_UNREACHABLE_6: Final[Mapping[int, Cause]] = {
    0: Cause.NET_UNREACHABLE,
    1: Cause.PROHIBITED,
    2: Cause.NET_UNREACHABLE,  # beyond the scope of the source address
    3: Cause.HOST_UNREACHABLE,
    4: Cause.PORT_UNREACHABLE,
    5: Cause.PROHIBITED,  # source address failed policy
    6: Cause.NET_UNREACHABLE,  # reject route
}


def refusal(version: int, kind: int, code: int) -> Cause | None:
    """Return what an ICMP error of this type (*kind*) and *code* says of the packet it quotes; None if it is no error.

    Sources: RFC 792; RFC 1812 section 5.2.7.1; RFC 4443 sections 3.1 to 3.3.
    """
    match version, kind:
        case 4, 3:
            return _UNREACHABLE_4.get(code, Cause.HOST_UNREACHABLE)
        case 6, 1:
            return _UNREACHABLE_6.get(code, Cause.HOST_UNREACHABLE)
        case 6, 2:
            return Cause.PACKET_TOO_BIG
        case (4, 11) | (6, 3):
            return Cause.TTL_EXCEEDED
        case _:
            return None
