"""Events added up within a span."""

from wanwatch.core.model import NS_PER_S, Bounds, Event, EventKind, Span
from wanwatch.core.replay import LineTally, tally

SPAN = Span(1000 * NS_PER_S, 2000 * NS_PER_S)


def event(kind: EventKind, start_s: int, end_s: int | None, uplink: str | None = "fibre") -> Event:
    """An event whose instants are known exactly."""
    ends = None if end_s is None else Bounds(*[end_s * NS_PER_S] * 3)
    return Event(f"{kind}-{start_s}", "harbour-lane", kind, uplink, Bounds(*[start_s * NS_PER_S] * 3), ends)


def test_time_is_counted_within_the_span_only() -> None:
    """What reaches in or out counts as far as it lies inside; what is open lasts until the end."""
    events = [
        event(EventKind.OUTAGE, 900, 1010),
        event(EventKind.OUTAGE, 1500, 1520),
        event(EventKind.OUTAGE, 1990, None),
        event(EventKind.IMPAIRMENT, 1600, 1700),
        event(EventKind.NAMES_FAILURE, 1600, 1700),
        event(EventKind.OUTAGE, 1600, 1700, "copper"),
    ]
    told = tally(events, ("fibre", "copper"), SPAN)
    assert told.lines == (LineTally("fibre", 3, 40.0, 1, 100.0, 1), LineTally("copper", 1, 100.0, 0, 0.0, 0))


def test_impairments_that_overlap_count_their_time_once() -> None:
    """Loss and speed are events of their own, and may hold at the same time."""
    events = [event(EventKind.IMPAIRMENT, 1100, 1300), event(EventKind.IMPAIRMENT, 1200, 1400)]
    (line,) = tally(events, ("fibre",), SPAN).lines
    assert (line.impairments, line.impaired_s) == (2, 300.0)


def test_switches_are_counted_once_each_by_kind() -> None:
    """A needless failover and a blackout are switches, too; a stuck failover is none."""
    kinds = (
        EventKind.FAILOVER, EventKind.FAILBACK, EventKind.NEEDLESS_FAILOVER, EventKind.BLACKOUT,
        EventKind.RESTORATION, EventKind.STUCK_FAILOVER,
    )  # fmt: skip
    told = tally([event(kind, 1100, 1100, None) for kind in kinds], (), SPAN)
    assert (told.switches, told.needless, told.blackouts, told.stuck) == (5, 1, 1, 1)
