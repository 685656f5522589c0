"""Contract of every store: events, alive spans and small values."""

from dataclasses import replace

import pytest

from tests.fakes.clock import FakeClock
from tests.store.backends import ALWAYS, SITE, Backend, bounds, event
from wanwatch.core.model import NS_PER_S, Domain, Event, EventKind, Json, Span


async def test_an_event_can_be_read_once_it_was_kept(backend: Backend, clock: FakeClock) -> None:
    """Every field comes back as it was told, before the keeper is closed."""
    told = Event(
        id="failover-site-20261103T100000Z",
        site=SITE,
        kind=EventKind.FAILOVER,
        uplink=None,
        start=bounds(clock.now_unix_ns()),
        end=bounds(clock.now_unix_ns() + 7),
        domain=Domain.ACCESS_LINE,
        from_uplink="fibre",
        to_uplink="copper",
        interruption_s=2.25,
        planned=True,
        drill=True,
        detail={"ladder": [{"rung": "gateway", "answered": False}], "note": "Zähler \u2192 0"},
    )
    keeper = backend.keeper(clock)
    keeper.open()
    assert await keeper.event(told) is True
    record = backend.record()
    found = record.events(SITE)
    record.close()
    await keeper.close()
    assert found == [told]


async def test_an_event_told_again_replaces_the_former(backend: Backend, clock: FakeClock) -> None:
    """The last telling holds, also for what is no longer said."""
    keeper = backend.keeper(clock)
    keeper.open()
    first = event("outage-1", clock.now_unix_ns(), detail={"guess": 1})
    last = replace(first, end=bounds(clock.now_unix_ns() + 9), domain=Domain.PROVIDER, detail={})
    await keeper.event(first)
    record = backend.record()
    open_before = record.open_events(SITE)
    await keeper.event(last)
    assert open_before == [first]
    assert record.open_events(SITE) == []
    assert record.events(SITE) == [last]
    record.close()
    await keeper.close()


@pytest.mark.parametrize(
    ("start_s", "end_s", "within"),
    [
        (-20, -10, False),
        (-20, 0, True),  # its latest end is half a second inside
        (-20, -0.5, False),  # half open: it ends where the span begins
        (-20, None, True),
        (5, 6, True),
        (5, None, True),
        (10, None, True),  # its earliest start is half a second inside
        (10.5, None, False),
        (20, 30, False),
    ],
)
async def test_events_are_found_by_overlap(
    backend: Backend, clock: FakeClock, start_s: float, end_s: float | None, *, within: bool
) -> None:
    """From the earliest start to the latest end, half open, against a span of ten seconds."""
    zero = clock.now_unix_ns()
    keeper = backend.keeper(clock)
    keeper.open()
    end_unix_ns = None if end_s is None else zero + int(end_s * NS_PER_S)
    await keeper.event(event("outage-1", zero + int(start_s * NS_PER_S), end_unix_ns))
    await keeper.close()
    record = backend.record()
    found = record.events(SITE, Span(zero, zero + 10 * NS_PER_S))
    record.close()
    assert bool(found) is within


async def test_events_come_by_start_and_of_the_kinds_asked(backend: Backend, clock: FakeClock) -> None:
    """The order of telling does not matter; no kinds means all."""
    now = clock.now_unix_ns()
    told = [event("b", now + 2), event("a", now + 1, kind=EventKind.FAILOVER), event("c", now, kind=EventKind.DRILL)]
    keeper = backend.keeper(clock)
    keeper.open()
    for one in told:
        await keeper.event(one)
    await keeper.close()
    record = backend.record()
    everything = [one.id for one in record.events(SITE)]
    some = [one.id for one in record.events(SITE, ALWAYS, {EventKind.FAILOVER, EventKind.DRILL})]
    elsewhere = record.events("elsewhere")
    record.close()
    assert everything == ["c", "a", "b"]
    assert some == ["c", "a"]
    assert elsewhere == []


async def test_each_run_is_one_alive_span(backend: Backend, clock: FakeClock) -> None:
    """What lies between two runs was not watched; a run that starts can ask when the one before it ended."""
    zero = clock.now_unix_ns()
    for _ in range(2):
        keeper = backend.keeper(clock)
        keeper.open()
        clock.advance(8)
        await keeper.close()
        clock.advance(12)
    record = backend.record()
    spans = record.watched(SITE, ALWAYS)
    last = [record.last_alive(SITE, zero + start_s * NS_PER_S) for start_s in (0, 20, 21)]
    cut = record.watched(SITE, Span(zero + 5 * NS_PER_S, zero + 25 * NS_PER_S))
    nobody = record.last_alive("elsewhere", clock.now_unix_ns())
    record.close()
    assert _seconds(spans, zero) == [(0, 8), (20, 28)]
    assert _seconds(cut, zero) == [(5, 8), (20, 25)]
    assert last == [None, zero + 8 * NS_PER_S, zero + 28 * NS_PER_S]
    assert nobody is None


async def test_an_alive_span_does_not_reach_over_a_step_of_the_clock(backend: Backend, clock: FakeClock) -> None:
    """Forward: the hour that never was is not watched. Told or not told, a mark never claims it."""
    zero = clock.now_unix_ns()
    keeper = backend.keeper(clock)
    keeper.open()
    clock.advance(4)
    clock.step(3_600)
    keeper.clock_stepped()
    clock.advance(5)
    await keeper.flush()
    clock.advance(1)
    clock.step(3_600)
    await keeper.flush()
    clock.advance(2)
    await keeper.close()
    record = backend.record()
    spans = record.watched(SITE, ALWAYS)
    record.close()
    assert _seconds(spans, zero) == [(0, 4), (3_604, 3_610), (7_210, 7_212)]


async def test_a_clock_stepped_back_is_watched_once(backend: Backend, clock: FakeClock) -> None:
    """Overlapping spans are joined, so that no second counts twice."""
    zero = clock.now_unix_ns()
    keeper = backend.keeper(clock)
    keeper.open()
    clock.advance(10)
    await keeper.flush()
    clock.step(-8)
    keeper.clock_stepped()
    clock.advance(3)
    await keeper.close()
    record = backend.record()
    spans = record.watched(SITE, ALWAYS)
    record.close()
    assert _seconds(spans, zero) == [(0, 10)]


async def test_a_loop_that_hung_was_not_watching(backend: Backend, clock: FakeClock) -> None:
    """A frozen process or a hung loop claims nothing of the time in which it took no sample."""
    zero = clock.now_unix_ns()
    keeper = backend.keeper(clock)
    keeper.open()
    clock.advance(9)
    await keeper.flush()
    clock.advance(300)
    await keeper.flush()
    clock.advance(9)
    await keeper.close()
    record = backend.record()
    spans = record.watched(SITE, ALWAYS)
    record.close()
    assert _seconds(spans, zero) == [(0, 9), (309, 318)]


async def test_a_run_that_has_just_begun_is_alive_already(backend: Backend, clock: FakeClock) -> None:
    """The span begins with the opening, not with the first flush."""
    keeper = backend.keeper(clock)
    keeper.open()
    await keeper.event(event("outage-1", clock.now_unix_ns()))
    record = backend.record()
    last = record.last_alive(SITE, clock.now_unix_ns() + 1)
    record.close()
    await keeper.close()
    assert last == clock.now_unix_ns()


@pytest.mark.parametrize("value", [None, True, 3, 2.5, "fibre", ["a", None], {"uplink": "fibre", "since": 1}])
async def test_a_small_value_outlives_a_restart(backend: Backend, clock: FakeClock, value: Json) -> None:
    """The last value under a key holds."""
    keeper = backend.keeper(clock)
    keeper.open()
    keeper.remember("carrying", "an older value")
    keeper.remember("carrying", value)
    await keeper.close()
    record = backend.record()
    found = (record.recall("carrying"), record.recall("carrying", SITE))
    missing = (record.recall("never"), record.recall("carrying", "elsewhere"))
    record.close()
    assert found == (value, value)
    assert missing == (None, None)


async def test_retention_lets_go_of_what_ended_and_keeps_what_goes_on(backend: Backend, clock: FakeClock) -> None:
    """An outage of two years is still there, the repaired one of before is not."""
    zero = clock.now_unix_ns()
    keeper = backend.keeper(clock)
    keeper.open()
    await keeper.event(event("ended", zero, zero + 10))
    await keeper.event(event("going-on", zero))
    clock.advance(5)
    await keeper.close()
    clock.advance(995)
    keeper = backend.keeper(clock)
    keeper.open()
    assert await keeper.prune(0, zero + 500 * NS_PER_S)
    clock.advance(5)
    await keeper.close()
    record = backend.record()
    found, spans = record.events(SITE), record.watched(SITE, ALWAYS)
    record.close()
    assert [one.id for one in found] == ["going-on"]
    assert _seconds(spans, zero) == [(1_000, 1_005)]


def _seconds(spans: list[Span], zero_unix_ns: int) -> list[tuple[int, int]]:
    return [
        ((span.start_unix_ns - zero_unix_ns) // NS_PER_S, (span.end_unix_ns - zero_unix_ns) // NS_PER_S)
        for span in spans
    ]
