"""Each address has its share of answers, and strangers cannot fill the memory."""

from wanwatch.reflector._limiter import Limiter

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
