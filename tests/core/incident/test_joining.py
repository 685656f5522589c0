"""Incidents: what joins, what stays apart, and what an id is worth."""

from collections.abc import Collection
from dataclasses import replace
from itertools import pairwise
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.fakes.record import FakeRecord
from wanwatch.core.incident import Cause, Edge, Incident, find, incidents, incidents_in
from wanwatch.core.incident.joining import AWAY_NS, BESIDE, JOIN_NS
from wanwatch.core.model import NS_PER_S, Bounds, Event, EventKind, Span

MINUTE = 60
HOUR = 3600
OUTAGE, FAILOVER, FAILBACK = EventKind.OUTAGE, EventKind.FAILOVER, EventKind.FAILBACK


def at(second: float) -> Bounds:
    instant = round(second * NS_PER_S)
    return Bounds(instant, instant - NS_PER_S // 5, instant)


def happened(
    kind: EventKind, start: float, end: float | None, uplink: str | None = "fibre",
    way: tuple[str | None, str | None] = (None, None),
) -> Event:  # fmt: skip
    """An event from second to second, named after its start."""
    name = f"{kind}-{uplink or 'site'}-{start}"
    last = None if end is None else at(end)
    return Event(name, "s", kind, uplink, at(start), last, from_uplink=way[0], to_uplink=way[1])


def away(start: float, length: float = 5) -> Event:
    return happened(FAILOVER, start, start + length, None, ("fibre", "copper"))


def back(start: float, length: float = 0.4) -> Event:
    return happened(FAILBACK, start, start + length, None, ("copper", "fibre"))


def ids(found: list[Incident]) -> list[list[str]]:
    return [[event.id for event in one.events] for one in found]


def test_an_outage_its_failover_and_its_failback_are_one_incident_named_after_the_outage() -> None:
    """The silence of ordinary traffic may be seen a moment before the line's own; the line still names it."""
    events = [away(99.8), happened(OUTAGE, 100, 400), back(445)]
    (one,) = incidents(events)
    assert one.id == "incident-outage-fibre-100"
    assert one.events == tuple(events)
    assert (one.start, one.end) == (events[0].start, events[2].end)
    assert one.uplinks == ("fibre", "copper")


@pytest.mark.parametrize(("gap_ns", "number"), [(JOIN_NS - NS_PER_S, 1), (JOIN_NS, 2)])
def test_a_gap_shorter_than_an_hour_joins(gap_ns: int, number: int) -> None:
    """A line that flaps makes one incident a spell."""
    second = 400 + gap_ns / NS_PER_S
    assert len(incidents([happened(OUTAGE, 100, 400), happened(OUTAGE, second, second + 5)])) == number


@pytest.mark.parametrize(("gap_ns", "number"), [(AWAY_NS - NS_PER_S, 1), (AWAY_NS, 2)])
def test_while_traffic_is_away_the_incident_waits_a_day_for_its_return(gap_ns: int, number: int) -> None:
    """Many gateways fail back at night."""
    events = [happened(OUTAGE, 100, 400), away(100), back(400 + gap_ns / NS_PER_S)]
    assert len(incidents(events)) == number


def test_what_the_second_line_does_meanwhile_belongs_to_the_incident() -> None:
    """The office stands on one line because of it."""
    bad = happened(EventKind.IMPAIRMENT, 2 * HOUR, 3 * HOUR, "copper")
    (one,) = incidents([happened(OUTAGE, 100, 400), away(100), bad, back(5 * HOUR)])
    assert one.events[2] == bad


def test_once_traffic_came_back_an_hour_ends_the_incident() -> None:
    """The next outage of the evening is another incident."""
    events = [happened(OUTAGE, 100, 400), away(100), back(460), happened(OUTAGE, 2 * HOUR, 3 * HOUR)]
    assert [len(one.events) for one in incidents(events)] == [3, 1]


def test_an_incident_goes_on_while_one_of_its_events_does() -> None:
    """What begins hours later, while a line is still down, belongs to it."""
    (one,) = incidents([happened(OUTAGE, 100, None), happened(OUTAGE, 20 * HOUR, 21 * HOUR, "copper")])
    assert one.end is None


@pytest.mark.parametrize("kind", sorted(BESIDE))
def test_what_is_no_incident_neither_starts_one_nor_joins_two(kind: EventKind) -> None:
    """It is told with each incident that it overlaps."""
    beside = happened(kind, 0, 9 * HOUR)
    assert incidents([beside]) == []
    found = incidents([beside, happened(OUTAGE, 100, 400), happened(OUTAGE, 5 * HOUR, 5 * HOUR + 9)])
    assert [one.beside for one in found] == [(beside,), (beside,)]
    assert incidents([happened(kind, 0, 99), happened(OUTAGE, 100, 400)])[0].beside == ()


def test_the_time_line_tells_begin_and_end_and_a_switch_once() -> None:
    """In order of time, each instant with its bounds."""
    step = happened(EventKind.CLOCK_STEP, 200, 200, None)
    (one,) = incidents([happened(OUTAGE, 100, 400), away(100.4), step, back(445)])
    told = [(entry.at.estimate_unix_ns / NS_PER_S, entry.edge, entry.event.kind) for entry in one.entries]
    assert told == [
        (100, Edge.BEGAN, OUTAGE),
        (100.4, Edge.HAPPENED, FAILOVER),
        (200, Edge.HAPPENED, EventKind.CLOCK_STEP),
        (400, Edge.ENDED, OUTAGE),
        (445, Edge.HAPPENED, FAILBACK),
    ]
    assert one.entries[0].at == at(100)


def test_planned_and_drill_are_those_of_what_began_it() -> None:
    """A failback after the announced hour does not make a planned outage an unplanned incident."""
    outage = replace(happened(OUTAGE, 100, 400), planned=True, drill=True)
    (one,) = incidents([outage, away(99.8), back(445)])
    assert (one.planned, one.drill) == (True, True)


def test_a_week_of_ten_flaps_an_hour_is_an_incident_a_spell() -> None:
    """At random from noon to midnight, seven days long, each with its switches: seven incidents, none lost."""
    dice, events = Random(4), []  # noqa: S311 - a seeded story
    for day in range(7):
        second = day * 24 * HOUR
        while (second := second + round(dice.expovariate(10 / HOUR))) < (day * 24 + 12) * HOUR:
            length = dice.randint(3, 60)
            events += [happened(OUTAGE, second, second + length), away(second - 0.1), back(second + length + 35)]
            second += length + 36
    found = incidents(events)
    assert len(found) == 7
    assert {one.cause for one in found} == {Cause.FLAPPING_LINE}
    assert sum(len(one.events) for one in found) == len(events)


def test_an_incident_is_read_whole_however_little_of_it_is_asked_for() -> None:
    """Its id must not hang on the day that somebody lists."""
    day = 24 * HOUR
    events = [
        happened(OUTAGE, 10 * day, 10 * day + 60), away(10 * day), happened(OUTAGE, 10.9 * day, 11 * day, "copper"),
        back(11.5 * day), happened(OUTAGE, 20 * day, 20 * day + 5),
    ]  # fmt: skip
    record = FakeRecord("s", events, [], [])
    asked = Span(round(11.45 * day) * NS_PER_S, round(11.6 * day) * NS_PER_S)
    assert ids(incidents_in(record, "s", asked)) == ids(incidents(events))[:1]
    assert incidents_in(record, "s", Span(12 * day * NS_PER_S, 13 * day * NS_PER_S)) == []


KINDS = st.sampled_from([OUTAGE, EventKind.IMPAIRMENT, FAILOVER, FAILBACK, EventKind.BLACKOUT, *sorted(BESIDE)])
LINES = st.sampled_from(["fibre", "copper", None])


@st.composite
def one_event(draw: st.DrawFn) -> Event:
    """An event of any kind within four days; its id tells it from all others with another content."""
    kind, uplink, start = draw(KINDS), draw(LINES), draw(st.integers(0, 4 * 24 * 4)) * 15 * MINUTE
    end = draw(st.one_of(st.none(), st.integers(0, 6 * HOUR).map(lambda length: start + length)))
    way = draw(st.tuples(LINES, LINES))
    return happened(kind, start, end, uplink, way)


MANY = st.lists(one_event(), max_size=14, unique_by=lambda event: event.id)


@given(
    st.lists(
        st.tuples(KINDS, LINES, st.integers(0, 300), st.integers(0, 30), st.tuples(LINES, LINES)),
        max_size=25, unique_by=lambda one: one[:3],
    ),
    st.integers(0, 300), st.integers(1, 60),
)  # fmt: skip
def test_a_part_of_a_record_gives_the_incidents_of_the_whole(
    drawn: list[tuple[EventKind, str | None, int, int, tuple[str | None, str | None]]], begin: int, length: int
) -> None:
    """Whatever lies before and after: events of two weeks, an hour apart and more."""
    events = [happened(kind, at * HOUR, (at + long) * HOUR, uplink, way) for kind, uplink, at, long, way in drawn]
    span = Span(begin * HOUR * NS_PER_S, (begin + length) * HOUR * NS_PER_S)

    def reaches_into(one: Incident) -> bool:
        over = max(event.end.estimate_unix_ns for event in one.events if event.end)
        return one.start.estimate_unix_ns < span.end_unix_ns and over >= span.start_unix_ns

    expected = [one for one in incidents(events) if reaches_into(one)]
    assert incidents_in(FakeRecord("s", events, [], []), "s", span) == expected


def test_a_year_without_a_quiet_day_is_read_a_few_times_only() -> None:
    """Each reading costs what it reads; a day more each time would be hundreds of readings."""
    record = FakeRecord("s", [happened(OUTAGE, hour * HOUR, hour * HOUR + 60) for hour in range(365 * 24)], [], [])
    readings: list[Span | None] = []
    events = record.events

    def counted(site: str, span: Span | None = None, kinds: Collection[EventKind] = ()) -> list[Event]:
        readings.append(span)
        return events(site, span, kinds)

    record.events = counted  # type: ignore[method-assign]
    now = 364 * 24 * HOUR * NS_PER_S
    (one,) = incidents_in(record, "s", Span(now, now + NS_PER_S))
    assert len(one.events) == 365 * 24
    assert len(readings) <= 12


@given(MANY, st.randoms())
def test_every_event_that_counts_is_in_exactly_one_incident_whatever_the_order(
    events: list[Event], dice: object
) -> None:
    """Incidents come in order of time and do not overlap."""
    found = incidents(events)
    members = [event for one in found for event in one.events]
    counting = [event for event in events if event.kind not in BESIDE]
    assert sorted(event.id for event in members) == sorted(event.id for event in counting)
    for before, after in pairwise(found):
        assert before.end is not None
        assert before.end.estimate_unix_ns < after.start.estimate_unix_ns
    dice.shuffle(events)  # type: ignore[attr-defined]  # hypothesis hands out its own Random
    assert incidents(events) == found


@given(MANY, one_event())
def test_an_event_that_is_told_later_leaves_all_it_does_not_join_as_they_were(events: list[Event], late: Event) -> None:
    """What follows all others: every earlier incident keeps its members; only the last one can grow."""
    late = happened(late.kind, 5 * 24 * HOUR, 5 * 24 * HOUR + 60, late.uplink, (late.from_uplink, late.to_uplink))
    before, after = incidents(events), incidents([*events, late])
    assert ids(after)[: len(before) - 1] == ids(before)[:-1]
    assert [one.id for one in after][: len(before) - 1] == [one.id for one in before][:-1]


@given(MANY, MANY)
def test_an_id_once_given_always_finds_the_incident_of_its_event(events: list[Event], more: list[Event]) -> None:
    """Also after an event that began earlier was told late, or one that joins two incidents."""
    known = {event.id for event in events}
    after = incidents([*events, *(event for event in more if event.id not in known)])
    for one in incidents(events):
        found = find(after, one.id)
        assert found is not None
        assert one.lead in found.events


def test_an_unknown_id_finds_nothing() -> None:
    """Also that of an event which is no incident."""
    step = happened(EventKind.CLOCK_STEP, 0, 0)
    assert find(incidents([step, happened(OUTAGE, 0, 9)]), f"incident-{step.id}") is None
