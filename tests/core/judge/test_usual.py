"""What delay is usual, by the hour of the week."""

import json
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from tests.fakes.office import Office, Way, line_questions
from wanwatch.core.judge import Memory, SiteJudge
from wanwatch.core.judge.usual import WEEKS, Usuals, hour_of_week
from wanwatch.core.model import NS_PER_S, Event, EventKind, JudgeSettings, Learnt

MONDAY = datetime(2026, 11, 2, tzinfo=UTC)
MINUTE_NS = 60 * NS_PER_S
MS = 1_000_000
LONDON = ZoneInfo("Europe/London")


def unix_ns(day: int, hour: float) -> int:
    """An hour of a day, counted from a Monday."""
    return round((MONDAY + timedelta(days=day, hours=hour)).timestamp()) * NS_PER_S


def taught(hours: Iterable[tuple[int, float, float]], minutes: int = 60) -> Usuals:
    """Usuals that were told of (day, hour, delay in ms), so many windows of each."""
    usuals = Usuals()
    usuals.reconfigure(["near"], UTC, MINUTE_NS)
    for day, hour, delay_ms in hours:
        for minute in range(minutes):
            at_unix_ns = unix_ns(day, hour) + minute * MINUTE_NS
            usuals.learn(at_unix_ns, {"near": delay_ms * MS}, calm=delay_ms < 50)
    return usuals


def days(count: int, evening_ms: float) -> list[tuple[int, float, float]]:
    """So many days, each prompt but for the hour from 20:00 on."""
    return [(day, hour, evening_ms if hour == 20 else 10.0) for day in range(count) for hour in range(24)]


def usual_ms(usuals: Usuals, day: int, hour: float) -> float | None:
    """What is usual then."""
    found = usuals.usual_ns(unix_ns(day, hour)).get("near")
    return None if found is None else found / MS


def test_nothing_is_usual_before_there_are_five_windows() -> None:
    """The last windows stand in until hours are known, but not fewer than five."""
    usuals = taught([(0, 9, 10.0)], minutes=4)
    assert usual_ms(usuals, 0, 9.2) is None
    usuals.learn(unix_ns(0, 9.1), {"near": 30.0 * MS}, calm=True)
    assert usual_ms(usuals, 0, 9.2) == 10.0


def test_trouble_does_not_become_the_usual_of_the_last_windows() -> None:
    """Only windows without trouble stand in for hours that are not known."""
    assert usual_ms(taught([(0, 9, 10.0), (0, 10, 200.0)]), 0, 10.8) == 10.0


def test_one_bad_evening_is_not_usual_and_three_are() -> None:
    """The same hour of other days counts once three days are known: one in three is not their median."""
    assert usual_ms(taught(days(1, 90.0)), 1, 20.5) == 10.0
    assert usual_ms(taught([*days(2, 10.0), *((2, h, 90.0 if h == 20 else 10.0) for h in range(24))]), 3, 20.5) == 10.0
    assert usual_ms(taught(days(3, 90.0)), 3, 20.5) == 90.0
    assert usual_ms(taught(days(3, 90.0)), 3, 15.5) == 10.0


def test_an_hour_of_the_week_goes_before_the_same_hour_of_other_days() -> None:
    """Slow on Sundays only: three weeks make it the usual of Sundays, and of no other day."""
    weeks = [(day, hour, 90.0 if (day % 7, hour) == (6, 20) else 10.0) for day in range(21) for hour in range(24)]
    usuals = taught(weeks)
    assert usual_ms(usuals, 27, 20.5) == 90.0
    assert usual_ms(usuals, 26, 20.5) == 10.0


def test_the_half_hours_around_a_slow_hour_are_judged_by_it() -> None:
    """Evenings do not begin on the hour."""
    usuals = taught(days(4, 90.0))
    assert [usual_ms(usuals, 4, hour) for hour in (19.4, 19.6, 21.4, 21.6)] == [10.0, 90.0, 90.0, 10.0]


def test_what_is_changed_for_good_is_usual_after_three_weeks() -> None:
    """Five weeks are kept: three of them decide, and the memory does not grow."""
    weeks = [(7 * week + 2, 12, 90.0 if week >= 8 else 10.0) for week in range(12)]
    ends = [(day, 13, 10.0) for day, _, _ in weeks]
    said = [usual_ms(taught(sorted([*weeks, *ends])[: 2 * count]), 7 * count + 2, 12.5) for count in (8, 10, 11)]
    assert said == [10.0, 10.0, 90.0]
    known = taught(sorted([*weeks, *ends])).known(12)["near"]
    assert isinstance(known, dict)
    assert known == {str(2 * 24 + 12): [10_000, 10_000, 90_000, 90_000, 90_000, 90_000][-WEEKS:]}


def test_an_hour_that_was_hardly_looked_at_has_no_figure() -> None:
    """Half of it, at the least."""
    assert taught([(0, 9, 10.0), (0, 10, 10.0)], minutes=29).known(9) == {"near": {}}
    assert taught([(0, 9, 10.0), (0, 10, 10.0)], minutes=30).known(9) == {"near": {"9": [10_000]}}


def test_hours_are_those_that_clocks_in_the_zone_show() -> None:
    """RFC 3339: 2026-10-25 is a Sunday; clocks in London go back from 02:00 BST to 01:00 GMT."""
    hours = [
        hour_of_week(round(datetime(2026, 10, 25, hour, tzinfo=UTC).timestamp()) * NS_PER_S, LONDON)
        for hour in range(3)
    ]
    assert hours == [6 * 24 + 1, 6 * 24 + 1, 6 * 24 + 2]
    spring = [
        hour_of_week(round(datetime(2026, 3, 29, hour, tzinfo=UTC).timestamp()) * NS_PER_S, LONDON) for hour in range(2)
    ]
    assert spring == [6 * 24, 6 * 24 + 2]


def test_the_hour_that_comes_twice_has_one_figure() -> None:
    """Clocks go back: both hours are one of the week."""
    usuals = Usuals()
    usuals.reconfigure(["near"], LONDON, MINUTE_NS)
    begin_ns = round(datetime(2026, 10, 25, 0, tzinfo=UTC).timestamp()) * NS_PER_S
    for minute in range(121):
        usuals.learn(begin_ns + minute * MINUTE_NS, {"near": (20.0 if minute < 60 else 40.0) * MS}, calm=True)
    assert usuals.known(1) == {"near": {str(6 * 24 + 1): [30_000]}}


def test_a_wall_clock_that_leaps_teaches_nothing_wrong() -> None:
    """Ten minutes at a wrong hour are no figure of it, whichever way the clock goes."""
    usuals = taught([(0, 9, 10.0), (300, 3, 90.0), (0, 9.5, 10.0)], minutes=10)
    usuals.learn(unix_ns(0, 10), {"near": 10.0 * MS}, calm=True)
    assert [usuals.known(hour)["near"] for hour in (3, 9)] == [{}, {}]


def test_what_is_known_comes_back_from_json() -> None:
    """As the next run gets it; what is not of its shape is left out."""
    usuals = taught(days(4, 90.0))
    again = Usuals()
    for hour in range(24):
        again.recall(json.loads(json.dumps(usuals.known(hour))))
    again.recall({"near": {"x": [1], "7": "no"}, "far": 3})
    again.recall(None)
    again.reconfigure(["near"], UTC, MINUTE_NS)
    assert usual_ms(again, 4, 20.5) == 90.0
    assert [again.known(hour) for hour in range(24)] == [usuals.known(hour) for hour in range(24)]


EVENINGS = [(day * 86_400.0 + 20 * 3600, day * 86_400.0 + 21 * 3600, 0.08) for day in range(5)]
"""From 20:00 to 21:00 each day the line is 80 ms slower."""


def slow_evenings(first_day: int, last_day: int, memory: Memory) -> tuple[SiteJudge, list[Event], list[Learnt]]:
    """Watch the evening hours of some days, from 19:00 to 22:00, asking every five seconds."""
    asked = line_questions("fibre", ("near", "far"), every_s=5.0)
    settings = JudgeSettings(window_ns=300 * NS_PER_S)
    events: list[Event] = []
    learnt: list[Learnt] = []
    for day in range(first_day, last_day):
        judge = SiteJudge("harbour-lane", ["fibre"], asked, settings, memory=memory)
        start_s = day * 86_400.0 + 19 * 3600
        wall_ns0 = round(MONDAY.timestamp()) * NS_PER_S
        office = Office(
            judge, {"fibre": Way(slow=EVENINGS)}, asked, start_s=start_s, tick_s=60.0, wall_ns0=wall_ns0
        ).run(start_s + 3 * 3600.0)
        events += office.events(EventKind.IMPAIRMENT)
        learnt += [effect for _, effect in office.effects if isinstance(effect, Learnt)]
        memory = Memory(usuals=json.loads(json.dumps(judge.usuals)))
    return judge, events, learnt


def test_a_line_that_is_slow_every_evening_is_not_impaired_every_evening() -> None:
    """Three evenings are told, while they are news; then they are usual, over every restart between."""
    judge, events, learnt = slow_evenings(0, 5, Memory())
    days_told = [event.start.estimate_unix_ns // (86_400 * NS_PER_S) - MONDAY.timestamp() // 86_400 for event in events]
    assert days_told == [0, 1, 2]
    assert all(event.detail["because"] == ["delay"] for event in events)
    assert {one.what for one in learnt} == {"delay-19", "delay-20"}
    assert list(judge.usuals) == ["fibre"]


@pytest.mark.parametrize("missing", [{}, {"fibre": None}, {"fibre": {"delay-20": "?"}}, {"radio": {}}])
def test_a_memory_without_usuals_begins_anew(missing: dict[str, None]) -> None:
    """A record of an earlier version, or of other lines."""
    _, events, _ = slow_evenings(0, 1, Memory(usuals=missing))
    assert len(events) == 1
