"""Routing netlink: the few requests and answers that the witnesses of routes and links need.

Sources:     RFC 3549 (message format); Linux uapi headers linux/netlink.h, rtnetlink.h, if_link.h, if_addr.h (numbers).
Departures:  attributes that nobody here asks about are skipped; numbers are in the machine's own byte order, as the
             kernel speaks.
"""

import struct
from collections.abc import Iterator
from ipaddress import ip_address
from typing import Final, NamedTuple

from wanwatch.core.wire.malformed import Malformed

DONE: Final = 3
"""The kind of message that ends a dump."""

_ERROR, _NEW_LINK, _NEW_ADDRESS, _NEW_ROUTE, _GONE_ROUTE = 2, 16, 20, 24, 25
_GET_LINK, _GET_ADDRESS, _GET_ROUTE = 18, 22, 26
_REQUEST, _DUMP = 0x001, 0x300
_HEADER: Final = struct.Struct("=IHHII")
_ROUTE: Final = struct.Struct("=BBBBBBBBI")
_LINK: Final = struct.Struct("=BxHiII")
_ADDRESS: Final = struct.Struct("=BBBBI")
_ATTRIBUTE: Final = struct.Struct("=HH")
_ERRNO: Final = struct.Struct("=i")
_FAMILY: Final = {4: 2, 6: 10}
_RTA_DST, _RTA_OIF, _RTA_GATEWAY, _RTA_PREFSRC, _RTA_MARK = 1, 4, 5, 7, 16
_IFLA_IFNAME, _IFA_ADDRESS, _IFA_LOCAL = 3, 1, 2
_IFF_UP, _IFF_LOWER_UP = 0x1, 0x10000
_IFA_F_UNUSABLE: Final = 0x08 | 0x40  # duplicate address detection failed, or is not over yet
_TYPE_UNICAST: Final = 1
_TYPE_LOCAL: Final = 2
_TABLE_MAIN: Final = 254


class Route(NamedTuple):
    """Where the kernel would send a packet.

    Attributes:
        oif: Index of the outgoing interface.
        gateway: Address of the next hop; None where the destination is on the link itself.
        prefsrc: Source address that the kernel would choose, if it says.
    """

    oif: int
    gateway: str | None
    prefsrc: str | None


class NoRoute(NamedTuple):
    """The kernel has no route, or refuses: *errno* says why (positive)."""

    errno: int


class Link(NamedTuple):
    """An interface: its index (*interface*) and name, whether it has carrier, and whether it is switched on at all."""

    interface: int
    name: str
    carrier: bool
    enabled: bool


class Address(NamedTuple):
    """An address that an interface holds and can use."""

    interface: int
    address: str


Answer = Route | NoRoute | Link | Address | Malformed


def build_get_route(destination: str, *, mark: int = 0, tos: int = 0) -> bytes:
    """Return a request for the route that a packet to *destination* would take, as the kernel itself would decide."""
    address = ip_address(destination)
    header = _ROUTE.pack(_FAMILY[address.version], len(address.packed) * 8, 0, tos, 0, 0, 0, 0, 0)
    body = header + _attribute(_RTA_DST, address.packed)
    if mark:
        body += _attribute(_RTA_MARK, struct.pack("=I", mark))
    return _message(_GET_ROUTE, _REQUEST, body)


def build_dump_links() -> bytes:
    """Return a request for all interfaces."""
    return _message(_GET_LINK, _REQUEST | _DUMP, _LINK.pack(0, 0, 0, 0, 0))


def build_dump_addresses() -> bytes:
    """Return a request for all addresses of all interfaces."""
    return _message(_GET_ADDRESS, _REQUEST | _DUMP, _ADDRESS.pack(0, 0, 0, 0, 0))


def messages(data: bytes) -> Iterator[tuple[int, bytes]]:
    """Yield type and body of each whole message in *data*; a cut or impossible one ends the walk."""
    at = 0
    while at + _HEADER.size <= len(data):
        length, kind, *_ = _HEADER.unpack_from(data, at)
        if length < _HEADER.size or at + length > len(data):
            return
        yield kind, data[at + _HEADER.size : at + length]
        at += length + 3 & ~3


def _route(body: bytes) -> Route | NoRoute | Malformed:
    if len(body) < _ROUTE.size:
        return Malformed("shorter than a route")
    attributes = _attributes(body[_ROUTE.size :])
    oif = attributes.get(_RTA_OIF, b"")
    if body[7] not in (_TYPE_UNICAST, _TYPE_LOCAL):
        return NoRoute(0)  # unreachable, prohibit and blackhole routes may be answered as routes
    if len(oif) != 4:  # noqa: PLR2004 - a 32-bit index
        return Malformed("a route without an interface")
    return Route(struct.unpack("=I", oif)[0], _text(attributes.get(_RTA_GATEWAY)), _text(attributes.get(_RTA_PREFSRC)))


def _link(body: bytes) -> Link | Malformed:
    if len(body) < _LINK.size:
        return Malformed("shorter than a link")
    _, _, index, flags, _ = _LINK.unpack_from(body)
    name = _attributes(body[_LINK.size :]).get(_IFLA_IFNAME, b"").rstrip(b"\0").decode("ascii", "replace")
    return Link(index, name, flags & (_IFF_UP | _IFF_LOWER_UP) == _IFF_UP | _IFF_LOWER_UP, bool(flags & _IFF_UP))


def _address(body: bytes) -> Address | Malformed | None:
    if len(body) < _ADDRESS.size:
        return Malformed("shorter than an address")
    _, _, flags, _, index = _ADDRESS.unpack_from(body)
    attributes = _attributes(body[_ADDRESS.size :])
    # On a point-to-point link IFA_ADDRESS is the other end's, and IFA_LOCAL ours.
    text = _text(attributes.get(_IFA_LOCAL, attributes.get(_IFA_ADDRESS)))
    if text is None:
        return Malformed("an address of no known length")
    return None if flags & _IFA_F_UNUSABLE else Address(index, text)


def _error(body: bytes) -> NoRoute | Malformed:
    if len(body) < _ERRNO.size:
        return Malformed("shorter than an error")
    return NoRoute(-_ERRNO.unpack_from(body)[0])


_READ: Final = {_ERROR: _error, _NEW_ROUTE: _route, _NEW_LINK: _link, _NEW_ADDRESS: _address}


def parse(kind: int, body: bytes) -> Answer | None:
    """Read one message; None for a kind that nobody here asks about, and for an address that cannot be used yet."""
    read = _READ.get(kind)
    return None if read is None else read(body)


def default_changed_by(kind: int, body: bytes) -> int | None:
    """Return the `rtm_protocol` of an IPv4 default route of the main table that a notice says was added or removed.

    None for any other notice. Routes that the kernel itself takes away with their interface are not announced.
    """
    if kind not in (_NEW_ROUTE, _GONE_ROUTE) or len(body) < _ROUTE.size:
        return None
    family, to_bits, _, _, table, protocol, *_ = _ROUTE.unpack_from(body)
    return protocol if (family, to_bits, table) == (_FAMILY[4], 0, _TABLE_MAIN) else None


def _attributes(data: bytes) -> dict[int, bytes]:
    found = {}
    at = 0
    while at + _ATTRIBUTE.size <= len(data):
        length, kind = _ATTRIBUTE.unpack_from(data, at)
        if length < _ATTRIBUTE.size:
            break
        found[kind & 0x3FFF] = data[at + _ATTRIBUTE.size : at + length]
        at += length + 3 & ~3
    return found


def _text(value: bytes | None) -> str | None:
    return str(ip_address(value)) if value is not None and len(value) in (4, 16) else None


def _attribute(kind: int, value: bytes) -> bytes:
    return _ATTRIBUTE.pack(_ATTRIBUTE.size + len(value), kind) + value + bytes(-len(value) % 4)


def _message(kind: int, flags: int, body: bytes) -> bytes:
    return _HEADER.pack(_HEADER.size + len(body), kind, flags, 1, 0) + body
