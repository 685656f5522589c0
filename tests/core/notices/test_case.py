"""Cases: which part of a record there may be something to tell of."""

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from tests.fakes.record import FakeRecord
from wanwatch.core.model import NS_PER_S, Bounds, Event, EventKind
from wanwatch.core.notices import Kind, Notice, cases, cases_in

DAY = 86_400
NOW = 400 * DAY
KINDS = (EventKind.OUTAGE, EventKind.FAILOVER, EventKind.FAILBACK, EventKind.PIN_LOST, EventKind.PLANNED_WORK)


def happened(kind: EventKind, start: int, end: int | None) -> Event:
    def at(second: int) -> Bounds:
        return Bounds(second * NS_PER_S, second * NS_PER_S, second * NS_PER_S)

    last = None if end is None else at(end)
    return Event(f"{kind}-fibre-{start}", "s", kind, "fibre", at(start), last, from_uplink="fibre", to_uplink="copper")


def found(events: list[Event], told: list[Notice]) -> list[str]:
    return [case.id for case in cases_in(FakeRecord("s", events, [], []), "s", told, NOW * NS_PER_S)]


def told(kind: Kind, about: str, day: int) -> Notice:
    return Notice("s", "mailto:ops@example.net", kind, about, made_unix_ns=day * DAY * NS_PER_S)


def test_what_is_long_over_and_told_is_left_alone() -> None:
    """A record of two years is not read again each minute."""
    events = [happened(EventKind.OUTAGE, 100 * DAY, 101 * DAY), happened(EventKind.PIN_LOST, 300 * DAY, 301 * DAY)]
    name = "incident-outage-fibre-8640000"
    ended = [told(Kind.BEGAN, name, 100), told(Kind.ENDED, name, 101)]
    renamed = [told(Kind.BEGAN, name, 100), replace(told(Kind.ENDED, "incident-outage-fibre-1", 101), also=(name,))]
    assert found(events, ended) == []
    assert found(events, renamed) == []


def test_what_was_told_and_not_ended_is_found_however_old_it_is() -> None:
    """The daemon was away for weeks, and the line came back meanwhile: the end is still owed."""
    events = [happened(EventKind.OUTAGE, 100 * DAY, 101 * DAY), happened(EventKind.PIN_LOST, 300 * DAY, 301 * DAY)]
    began = told(Kind.BEGAN, "incident-outage-fibre-8640000", 100)
    joined = Notice("s", began.to, Kind.SEVERAL, "x", made_unix_ns=began.made_unix_ns, parts=(began,))
    for before in ([began], [joined]):
        assert "incident-outage-fibre-8640000" in found(events, before)


def test_what_goes_on_or_was_over_lately_is_found_whole() -> None:
    """With all that belongs to it, and what belongs to no incident by itself."""
    events = [
        happened(EventKind.OUTAGE, NOW - 5 * DAY, NOW - DAY),
        happened(EventKind.FAILOVER, NOW - 4 * DAY, NOW - 3 * DAY),
        happened(EventKind.PIN_LOST, NOW - 60, None), happened(EventKind.PLANNED_WORK, NOW + DAY, NOW + 2 * DAY),
    ]  # fmt: skip
    assert found(events, []) == [f"incident-{events[0].id}", events[2].id]


@given(
    st.lists(
        st.tuples(st.sampled_from(KINDS), st.integers(-900, 0), st.integers(1, 300)),
        max_size=8,
        unique_by=lambda one: one[:2],
    )
)
def test_it_finds_what_a_look_at_the_whole_record_would_find(drawn: list[tuple[EventKind, int, int]]) -> None:
    """Incidents come out whole, or they would have other names than the page that shows them."""
    events = [happened(kind, NOW + start * 600, NOW + (start + length) * 600) for kind, start, length in drawn]
    everything = {case.id: case.events for case in cases(events)}
    for case in cases_in(FakeRecord("s", events, [], []), "s", [], NOW * NS_PER_S):
        assert case.events == everything[case.id]
