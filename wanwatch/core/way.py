"""The way that an uplink's packets take out, as far as its first routers tell it.

Sources: RFC 1918 and RFC 4193 (private addresses); RFC 6598 (addresses shared behind a carrier's translation).
"""

from collections.abc import Sequence
from enum import StrEnum
from ipaddress import IPv4Address, IPv6Address, ip_address, ip_network
from typing import Final, NamedTuple

_PRIVATE: Final = tuple(map(ip_network, ("10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "fc00::/7", "fe80::/10")))
_SHARED: Final = ip_network("100.64.0.0/10")
_LAN_PREFIX: Final = 64
"""RFC 4291 section 2.5.4: an IPv6 network's interface identifiers take the lower half."""


class Way(NamedTuple):
    """What one trace of an uplink's first routers showed.

    Attributes:
        source: Our own address on it.
        hops: The routers, nearest first; None for one that kept silent. The target is not among them.
        ours: How many of them, from the nearest on, stand on our side of the line.
        bound: The pin names an interface, so that no other way out is possible.
    """

    source: str
    hops: tuple[str | None, ...]
    ours: int = 0
    bound: bool = False

    @property
    def first_hop(self) -> str | None:
        """The first router beyond the gateway; None if it kept silent."""
        return self.hops[self.ours] if len(self.hops) > self.ours else None


class Nat(StrEnum):
    """Who translates addresses on the way, as far as it shows."""

    NONE = "none"
    ONCE = "once"
    DOUBLE = "double"
    CARRIER = "carrier-grade"
    UNKNOWN = "unknown"


def our_side(hops: Sequence[str | None], source: str, *, gateway: str | None, bound: bool) -> int:
    """Return how many of *hops* stand on our side: the nearest one, where it is the gateway.

    It is if it is configured to be, if its address is private, or in IPv6, unless the uplink has an interface of its
    own (*bound*), if it shares our own network; with an interface of its own that is the provider's access router.
    """
    if not hops or hops[0] is None:
        return 1 if hops and is_private(source) and not bound else 0
    return int(hops[0] == gateway or is_private(hops[0]) or (not bound and _neighbours(hops[0], source)))


def nat(way: Way, public: str | None) -> Nat:
    """Return who translates addresses on *way*, whose far end saw the address *public* (None: it was not seen)."""
    if behind_carrier(way):
        return Nat.CARRIER
    # Two private routers in a row: the provider's box translates what our gateway has translated before.
    if len([hop for hop in way.hops[:2] if hop is not None and is_private(hop)]) == 2:  # noqa: PLR2004
        return Nat.DOUBLE
    if public is None:
        return Nat.UNKNOWN
    return Nat.NONE if public == way.source else Nat.ONCE


def behind_carrier(way: Way) -> bool:
    """Whether an address of the shared space (RFC 6598) lies on *way*: the provider translates for many customers."""
    return any(_address(hop) in _SHARED for hop in (way.source, *way.hops) if hop is not None)


def is_private(address: str) -> bool:
    """Whether *address* is for use inside an office only."""
    return any(_address(address) in network for network in _PRIVATE)


def _neighbours(one: str, other: str) -> bool:
    if ":" not in one or ":" not in other:
        return False
    return _address(one) in ip_network((other.partition("%")[0], _LAN_PREFIX), strict=False)


def _address(text: str) -> IPv4Address | IPv6Address:
    return ip_address(text.partition("%")[0])
