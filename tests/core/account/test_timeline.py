"""The states of an uplink: what outranks what, and that they fill the period."""

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from wanwatch.core.account.spans import total_ns
from wanwatch.core.account.timeline import Stretch, probed_spans, timeline
from wanwatch.core.model import Bounds, Event, EventKind, Span, State

PERIOD = Span(0, 100)
UP, IMPAIRED, DOWN, UNOBSERVED = State.UP, State.IMPAIRED, State.DOWN, State.UNOBSERVED


def at(instant: int) -> Bounds:
    """An instant known exactly."""
    return Bounds(instant, instant, instant)


def event(kind: EventKind, start: int, end: int | None, uplink: str | None = "fibre") -> Event:
    """Something that happened to the fibre."""
    finish = None if end is None else at(end)
    return Event(id=f"{kind}-{start}", site="s", kind=kind, uplink=uplink, start=at(start), end=finish)


def states(*events: Event, watched: list[Span] | None = None, now: int = 100) -> list[Stretch]:
    """The fibre's states over 100 ns, probed throughout."""
    seen = [PERIOD] if watched is None else watched
    found = timeline(PERIOD, "fibre", events=events, watched=seen, probed=[PERIOD], now_unix_ns=now)
    return found.stretches()


def test_a_quiet_period_is_up_throughout() -> None:
    """Watched, probed and without an event: up."""
    assert states() == [Stretch(UP, PERIOD)]


def test_unobserved_outranks_down_which_outranks_impaired_which_outranks_up() -> None:
    """The order of strength, with four events that overlap each other."""
    found = states(
        event(EventKind.IMPAIRMENT, 10, 60),
        event(EventKind.OUTAGE, 20, 50),
        event(EventKind.UNOBSERVED, 30, 40),
    )
    assert found == [
        Stretch(UP, Span(0, 10)),
        Stretch(IMPAIRED, Span(10, 20)),
        Stretch(DOWN, Span(20, 30)),
        Stretch(UNOBSERVED, Span(30, 40)),
        Stretch(DOWN, Span(40, 50)),
        Stretch(IMPAIRED, Span(50, 60)),
        Stretch(UP, Span(60, 100)),
    ]


def test_a_lost_pin_makes_the_uplink_unobserved() -> None:
    """A probe that may have left by another line says nothing of this one."""
    assert Stretch(UNOBSERVED, Span(5, 9)) in states(event(EventKind.PIN_LOST, 5, 9))


def test_what_happened_to_the_site_happened_to_every_uplink() -> None:
    """An event without an uplink is everybody's; one of another uplink is nobody else's."""
    assert Stretch(UNOBSERVED, Span(5, 9)) in states(event(EventKind.UNOBSERVED, 5, 9, uplink=None))
    assert states(event(EventKind.OUTAGE, 5, 9, uplink="copper")) == [Stretch(UP, PERIOD)]


def test_an_event_without_an_end_lasts_as_long_as_anybody_watched() -> None:
    """Nothing is known of an open outage once the watching ended, nor of the future."""
    found = states(event(EventKind.OUTAGE, 20, None), watched=[Span(0, 70)], now=90)
    assert found == [Stretch(UP, Span(0, 20)), Stretch(DOWN, Span(20, 70)), Stretch(UNOBSERVED, Span(70, 100))]


def test_time_before_the_first_watch_and_the_future_are_unobserved() -> None:
    """The program claims neither."""
    found = states(watched=[Span(30, 100)], now=80)
    assert found == [Stretch(UNOBSERVED, Span(0, 30)), Stretch(UP, Span(30, 80)), Stretch(UNOBSERVED, Span(80, 100))]


def test_watched_time_without_a_single_probe_is_not_up() -> None:
    """A line that was added in mid month is unobserved before that; a told outage needs no probe beside it."""
    told = event(EventKind.OUTAGE, 10, 20)
    found = timeline(
        PERIOD, "fibre", events=[told], watched=[PERIOD], probed=[Span(50, 100)], now_unix_ns=100
    ).stretches()
    assert found == [
        Stretch(UNOBSERVED, Span(0, 10)),
        Stretch(DOWN, Span(10, 20)),
        Stretch(UNOBSERVED, Span(20, 50)),
        Stretch(UP, Span(50, 100)),
    ]


def test_a_probed_minute_speaks_for_the_interval_between_probes() -> None:
    """Probes that are two minutes apart leave no holes; a missing third minute is one."""
    minute = 60_000_000_000
    apart = [range(5, 6), range(1), range(2, 3)]
    assert probed_spans(apart, 2) == (Span(0, 4 * minute), Span(5 * minute, 7 * minute))
    assert probed_spans(apart[1:], 1) == (Span(0, minute), Span(2 * minute, 3 * minute))
    assert probed_spans([range(3)], 2) == (Span(0, 4 * minute),)
    assert probed_spans([], 2) == ()


EVENTS = st.builds(
    event,
    st.sampled_from([EventKind.OUTAGE, EventKind.IMPAIRMENT, EventKind.UNOBSERVED, EventKind.PIN_LOST]),
    st.integers(-20, 120),
    st.none() | st.integers(-20, 140),
    st.sampled_from(["fibre", "copper", None]),
)
SPANS = st.lists(st.builds(Span, st.integers(-10, 110), st.integers(-10, 110)), max_size=5)


@given(st.lists(EVENTS, max_size=10), SPANS, SPANS, st.integers(-10, 120))
def test_every_nanosecond_is_in_exactly_one_state(
    events: list[Event], watched: list[Span], probed: list[Span], now: int
) -> None:
    """The four states always add up to the period, without overlap and without a hole."""
    found = timeline(PERIOD, "fibre", events=events, watched=watched, probed=probed, now_unix_ns=now)
    stretches = found.stretches()
    edges = [PERIOD.start_unix_ns, *(s.span.end_unix_ns for s in stretches)]
    assert [s.span.start_unix_ns for s in stretches] == edges[:-1]
    assert edges[-1] == PERIOD.end_unix_ns
    assert sum(map(total_ns, (found.up, found.impaired, found.down, found.unobserved))) == PERIOD.length_ns


@given(st.lists(EVENTS, max_size=6))
def test_the_order_in_which_events_come_changes_nothing(events: list[Event]) -> None:
    """The record's order is no evidence."""
    assert states(*events) == states(*reversed([replace(one) for one in events]))
