"""Each address has its share of answers, and strangers cannot fill the memory."""

import tracemalloc

import pytest

from wanwatch.asker import account
from wanwatch.core.wire import stamp
from wanwatch.reflector._limiter import Limiter
from wanwatch.reflector.stamp import Sessions

S = 1_000_000_000


def test_a_burst_then_the_rate() -> None:
    """Three at once, then one a second."""
    limiter = Limiter(per_s=1, burst=3)
    assert [limiter.allow("192.0.2.1", 0) for _ in range(4)] == [True, True, True, False]
    assert not limiter.allow("192.0.2.1", S - 1)
    assert limiter.allow("192.0.2.1", S)
    assert not limiter.allow("192.0.2.1", S)


def test_a_quiet_address_has_its_burst_again_and_no_more() -> None:
    """An hour of silence is not saved up."""
    limiter = Limiter(per_s=1, burst=3)
    limiter.allow("192.0.2.1", 0)
    assert [limiter.allow("192.0.2.1", 3600 * S) for _ in range(4)] == [True, True, True, False]


def test_one_address_does_not_spend_anothers_share() -> None:
    """The limit is each address's own."""
    limiter = Limiter(per_s=1, burst=1)
    assert limiter.allow("192.0.2.1", 0)
    assert not limiter.allow("192.0.2.1", 0)
    assert limiter.allow("192.0.2.2", 0)


def test_the_memory_is_bounded() -> None:
    """A flood of forged addresses makes the quietest one forgotten, not the memory full."""
    limiter = Limiter(per_s=1, burst=1, addresses=2)
    for address in ("192.0.2.1", "192.0.2.2", "192.0.2.3"):
        assert limiter.allow(address, 0)
    assert not limiter.allow("192.0.2.3", 0)
    assert limiter.allow("192.0.2.1", 0)


@pytest.mark.parametrize(
    ("one", "other", "shared"),
    [
        ("192.0.2.1", "192.0.2.2", False),
        ("192.0.2.1", "::ffff:192.0.2.1", True),
        ("::ffff:192.0.2.1", "::ffff:192.0.2.2", False),
        ("2001:db8::1", "2001:db8::ffff:1", True),
        ("2001:db8::1", "2001:db8:0:1::1", False),
        ("fe80::1%lo", "fe80::1", True),
    ],
)
def test_a_host_has_one_share_however_many_addresses_it_can_choose_from(
    one: str,
    other: str,
    shared: bool,  # noqa: FBT001 - a row of the table
) -> None:
    """RFC 4291 section 2.5.4: interface identifiers have 64 bits, so a /64 is one host's to fill."""
    assert (account(one) == account(other)) is shared


def test_a_million_sources_leave_the_memory_flat() -> None:
    """What is remembered does not grow with how many have asked."""
    limiter, sessions, asked = Limiter(per_s=1000, burst=2000), Sessions(), stamp.SenderPacket(0, 1, ssid=1)

    def flood(first: int, last: int) -> int:
        for number in range(first, last):
            address = f"{number >> 24}.{number >> 16 & 255}.{number >> 8 & 255}.{number & 255}"
            assert limiter.allow(address, number)
            sessions.number((address, 5), asked)
        return tracemalloc.get_traced_memory()[0]

    tracemalloc.start()
    try:
        warm = flood(1, 50_000)
        assert flood(50_000, 1_000_000) < warm + 200_000
    finally:
        tracemalloc.stop()
    assert (len(limiter._due), len(sessions._next)) == (4096, 16_384)
