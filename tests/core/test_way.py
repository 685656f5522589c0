"""The way out: which routers are ours, and who translates addresses on it."""

import pytest

from wanwatch.core.way import Nat, Way, nat, our_side

LAN, PROVIDER = "10.20.0.1", "198.51.100.1"


@pytest.mark.parametrize(
    ("hops", "source", "gateway", "bound", "first_hop"),
    [
        ((LAN, PROVIDER), "10.20.0.11", None, False, PROVIDER),
        ((LAN, PROVIDER), "10.20.0.11", LAN, False, PROVIDER),
        ((LAN, None, PROVIDER), "10.20.0.11", LAN, False, None),
        ((None, PROVIDER), "10.20.0.11", None, False, PROVIDER),
        # The mini PC is the gateway: the nearest router is the provider's.
        ((PROVIDER, "192.0.2.1"), "198.51.100.10", None, True, PROVIDER),
        (("203.0.113.1", PROVIDER), "203.0.113.9", "203.0.113.1", False, PROVIDER),
        (("2001:db8:1::1", "2001:db8:1:ff::1"), "2001:db8:1::11", None, False, "2001:db8:1:ff::1"),
        (("2001:db8:1:ff::1", "2001:db8::1"), "2001:db8:1:ff::2", None, True, "2001:db8:1:ff::1"),
        (("fe80::1%eth0", "2001:db8::1"), "2001:db8:1::11", None, True, "2001:db8::1"),
        ((), "10.20.0.11", LAN, False, None),
    ],
)
def test_the_first_hop_is_the_first_router_beyond_the_gateway(
    hops: tuple[str | None, ...], source: str, gateway: str | None, first_hop: str | None, *, bound: bool
) -> None:
    """One that keeps silent is not known, and the one behind it does not take its place."""
    ours = our_side(hops, source, gateway=gateway, bound=bound)
    assert Way(source, hops, ours=ours, bound=bound).first_hop == first_hop


@pytest.mark.parametrize(
    ("source", "hops", "public", "found"),
    [
        ("198.51.100.10", (PROVIDER,), "198.51.100.10", Nat.NONE),
        ("10.20.0.11", (LAN, PROVIDER), "198.51.100.10", Nat.ONCE),
        ("10.20.0.11", (LAN, "192.168.1.1", PROVIDER), "198.51.100.10", Nat.DOUBLE),
        # RFC 6598 section 7: 100.64.0.0/10, and nothing beside it.
        ("10.20.0.11", (LAN, "100.64.0.1"), "198.51.100.10", Nat.CARRIER),
        ("100.127.255.254", ("100.64.0.1",), None, Nat.CARRIER),
        ("10.20.0.11", (LAN, "100.63.255.255"), "198.51.100.10", Nat.ONCE),
        ("10.20.0.11", (LAN, "100.128.0.0"), None, Nat.UNKNOWN),
    ],
)
def test_translation_is_told_by_the_addresses_on_the_way(
    source: str, hops: tuple[str, ...], public: str | None, found: Nat
) -> None:
    """Shared space is a carrier's; two private routers in a row translate twice; the far end shows whether at all."""
    assert nat(Way(source, hops), public) is found
