"""Who is told of what, and when: one rule at a time."""

from dataclasses import replace
from zoneinfo import ZoneInfo

import pytest

from wanwatch.core.incident import Sign
from wanwatch.core.model import NS_PER_S, Bounds, Event, EventKind
from wanwatch.core.notices import Kind, Notice, Terms, cases, trial, wanted
from wanwatch.core.notices.standing import Shows
from wanwatch.core.notices.wanted import TABLE, Stage

MINUTE = 60
HOUR = 3600
DAY = 86_400
T0 = 1_793_448_000  # 2026-10-31 12:00 UTC, a Saturday; the clocks of London change in the night after it
OUTAGE, FAILOVER, FAILBACK = EventKind.OUTAGE, EventKind.FAILOVER, EventKind.FAILBACK
TO = "mailto:ops@example.net"
TERMS = Terms(
    site="s",
    to=TO,
    on=frozenset({OUTAGE, EventKind.STUCK_FAILOVER, FAILOVER, FAILBACK}),
    begin_after_ns=10 * NS_PER_S,
)


def ns(second: float) -> int:
    return round((T0 + second) * NS_PER_S)


def at(second: float) -> Bounds:
    return Bounds(ns(second), ns(second) - NS_PER_S // 5, ns(second))


def happened(
    kind: EventKind, start: float, end: float | None = None, uplink: str | None = "fibre",
    way: tuple[str | None, str | None] = (None, None),
) -> Event:  # fmt: skip
    """An event from second to second."""
    last = None if end is None else at(end)
    name = f"{kind}-{uplink or 'site'}-{start}"
    return Event(name, "s", kind, uplink, at(start), last, from_uplink=way[0], to_uplink=way[1])


def away(start: float) -> Event:
    return happened(FAILOVER, start, start + 5, None, ("fibre", "copper"))


def back(start: float) -> Event:
    return happened(FAILBACK, start, start + 0.4, None, ("copper", "fibre"))


class Address:
    """Somebody who is told, look by look."""

    def __init__(self, terms: Terms = TERMS) -> None:
        self.terms = terms
        self.told: list[Notice] = []

    def look(self, second: float, *events: Event, waiting: tuple[str, ...] = ()) -> list[Kind]:
        """What is told at that second, when these events are known."""
        found = wanted(cases(events), self.told, self.terms, ns(second), waiting=waiting)
        self.told += found
        assert wanted(cases(events), self.told, self.terms, ns(second), waiting=waiting) == []
        return [notice.kind for notice in found]


def test_the_table_has_a_cell_for_every_stage_and_sight() -> None:
    """A gap would be an alarm that nobody hears."""
    assert list(TABLE) == list(Stage)
    assert all(list(row) == list(Shows) for row in TABLE.values())


def test_an_outage_with_its_failover_and_failback_is_told_twice() -> None:
    """One message when an incident begins, one at its end, none between them."""
    ops = Address()
    open_ = happened(OUTAGE, 0)
    assert ops.look(6, open_) == []
    assert ops.look(10, open_) == [Kind.BEGAN]
    assert ops.look(20, open_, away(1)) == []
    assert ops.look(HOUR, open_, away(1)) == []
    over = (happened(OUTAGE, 0, HOUR), away(1), back(HOUR + 40))
    assert ops.look(HOUR + 50, *over) == []
    assert ops.look(HOUR + 161, *over) == [Kind.ENDED]
    assert ops.look(DAY, *over) == []
    assert [notice.about for notice in ops.told] == ["incident-outage-fibre-0"] * 2
    assert len({notice.id for notice in ops.told}) == 2


def test_a_clock_that_is_set_back_between_begin_and_end_makes_no_notice_twice() -> None:
    """What was told last is so whatever the clock showed; and reminders do not wait for it to catch up."""
    ops = Address(replace(TERMS, remind_every_ns=HOUR * NS_PER_S))
    ahead = happened(OUTAGE, DAY)
    assert ops.look(DAY + 10, ahead) == [Kind.BEGAN]
    goes_on, over = (replace(happened(OUTAGE, 0, end), id=ahead.id) for end in (None, 7000))
    assert ops.look(100, goes_on) == [Kind.REMINDER]
    assert ops.look(7200, over) == [Kind.ENDED]
    assert ops.look(7260, over) == []


def test_what_is_over_before_it_would_be_told_is_told_in_one_notice() -> None:
    """A line that blinks needs no two messages."""
    ops = Address()
    assert ops.look(9, happened(OUTAGE, 0)) == []
    assert ops.look(10, happened(OUTAGE, 0, 9)) == []
    assert ops.look(129, happened(OUTAGE, 0, 9)) == [Kind.PASSED]
    assert ops.look(300, happened(OUTAGE, 0, 9)) == []


def test_what_nobody_asked_for_is_not_told() -> None:
    """The kinds are the address's choice, and a line that works badly is not a line that is down."""
    ops = Address()
    assert ops.look(HOUR, happened(EventKind.IMPAIRMENT, 0), happened(EventKind.PIN_LOST, 5)) == []


def test_an_incident_is_told_once_it_holds_what_was_asked_for_and_is_over_with_that() -> None:
    """An impairment that began it, or outlasts it, is no reason to tell or to wait."""
    ops = Address()
    slow = happened(EventKind.IMPAIRMENT, 0)
    assert ops.look(500, slow) == []
    assert ops.look(610, slow, happened(OUTAGE, 600)) == [Kind.BEGAN]
    assert ops.look(900, slow, happened(OUTAGE, 600, 700)) == [Kind.ENDED]


def test_reminders_come_while_it_lasts_and_never_behind_one_that_waits() -> None:
    """Where no line is up, reminders would only pile up."""
    ops = Address(replace(TERMS, remind_every_ns=HOUR * NS_PER_S))
    open_ = happened(OUTAGE, 0)
    assert ops.look(10, open_) == [Kind.BEGAN]
    assert ops.look(HOUR, open_) == []
    began = ops.told[0].id
    assert ops.look(HOUR + 10, open_, waiting=(began,)) == []
    assert ops.look(HOUR + 20, open_) == [Kind.REMINDER]
    assert ops.look(2 * HOUR + 20, open_) == [Kind.REMINDER]
    assert ops.look(3 * HOUR + 20, happened(OUTAGE, 0, 3 * HOUR + 10)) == []
    assert [notice.count for notice in ops.told] == [1, 1, 2]


def test_without_an_interval_nobody_is_reminded() -> None:
    """Reminders are asked for."""
    ops = Address()
    assert ops.look(10, happened(OUTAGE, 0)) == [Kind.BEGAN]
    assert ops.look(30 * DAY, happened(OUTAGE, 0)) == []


def test_a_second_line_that_goes_down_meanwhile_is_told_and_so_is_its_coming_back() -> None:
    """The dead second line of last week must not hide that nothing is left."""
    ops = Address()
    copper = happened(OUTAGE, 0, uplink="copper")
    assert ops.look(10, copper) == [Kind.BEGAN]
    assert ops.look(5 * DAY + 10, copper, happened(OUTAGE, 5 * DAY)) == [Kind.WORSE]
    over = happened(OUTAGE, 5 * DAY, 5 * DAY + 60)
    assert ops.look(5 * DAY + 100, copper, over) == []
    assert ops.look(5 * DAY + 180, copper, over) == [Kind.BETTER]
    again = happened(OUTAGE, 6 * DAY)
    assert ops.look(6 * DAY + 10, copper, over, again) == [Kind.WORSE]
    assert [notice.lines for notice in ops.told] == [
        ("copper",), ("copper", "fibre"), ("copper",), ("copper", "fibre"),
    ]  # fmt: skip
    assert Sign.LINES_DOWN_TOGETHER in ops.told[1].signs


def test_lines_that_fall_together_are_one_notice() -> None:
    """The power fails: both lines are gone within a second."""
    ops = Address()
    both = (happened(OUTAGE, 0), happened(OUTAGE, 0.7, uplink="copper"))
    assert ops.look(11, *both) == [Kind.BEGAN]
    assert ops.told[0].lines == ("fibre", "copper")


def test_a_line_that_is_known_to_be_down_is_in_the_notice_of_its_failover() -> None:
    """Ordinary traffic falls silent a moment before its line is seen to; that is one notice and not two."""
    ops = Address()
    events = (away(0), happened(OUTAGE, 0.2))
    assert [ops.look(second, *events) for second in (9.9, 10, 10.1, 11)] == [[], [Kind.BEGAN], [], []]
    assert ops.told[0].lines == ("fibre",)


def test_a_graver_sign_is_told_within_an_incident() -> None:
    """Traffic stuck on the dead line is what a person has to act upon."""
    ops = Address()
    down = happened(OUTAGE, 0)
    assert ops.look(10, down) == [Kind.BEGAN]
    stuck = happened(EventKind.STUCK_FAILOVER, 30)
    assert ops.look(45, down, stuck) == [Kind.WORSE]
    assert ops.look(60, down, happened(EventKind.STUCK_FAILOVER, 30, 50)) == []


def test_each_end_of_a_flapping_line_waits_twice_as_long() -> None:
    """Down for a minute, up for four: told less and less."""
    ops = Address()
    kinds: list[Kind] = []
    events: list[Event] = []
    for second in range(0, HOUR, 10):
        start = second // 300 * 300
        down = happened(OUTAGE, start) if second - start < 60 else happened(OUTAGE, start, start + 60)
        events = [*(event for event in events if event.id != down.id), down]
        kinds += ops.look(second, *events)
    assert kinds == [Kind.BEGAN, Kind.ENDED, Kind.AGAIN]
    assert ops.look(HOUR + 7 * MINUTE, *events) == [Kind.ENDED]


def test_traffic_that_stays_away_is_told_as_better_and_its_return_as_the_end() -> None:
    """The line is up again, but the office still works over the other one."""
    ops = Address()
    told = [happened(OUTAGE, 0), away(1)]
    assert ops.look(20, *told) == [Kind.BEGAN]
    told[0] = happened(OUTAGE, 0, 600)
    assert ops.look(720, *told) == [Kind.BETTER]
    assert ops.look(5 * HOUR, *told) == []
    assert ops.look(6 * HOUR, *told, back(6 * HOUR - 1000)) == [Kind.ENDED]


def test_traffic_that_never_returns_is_at_home_after_a_day() -> None:
    """A day is how long an incident waits for a failback."""
    ops = Address()
    told = (happened(OUTAGE, 0, 600), away(1))
    ops.look(720, *told)
    assert ops.look(DAY + 599, *told) == []
    assert ops.look(DAY + 601, *told) == [Kind.ENDED]


def test_who_asks_for_outages_only_does_not_wait_for_traffic() -> None:
    """The end of what was asked for is the end."""
    ops = Address(replace(TERMS, on=frozenset({OUTAGE})))
    assert ops.look(10, happened(OUTAGE, 0), away(1)) == [Kind.BEGAN]
    assert ops.look(800, happened(OUTAGE, 0, 600), away(1)) == [Kind.ENDED]


def test_an_id_that_changes_is_the_same_incident() -> None:
    """A bare failover is named after itself until its outage is told."""
    ops = Address()
    assert ops.look(12, away(1)) == [Kind.BEGAN]
    both = (away(1), happened(OUTAGE, 1.2))
    assert ops.look(15, *both) == [Kind.WORSE]  # the line is in it now
    over = (away(1), happened(OUTAGE, 1.2, 500), back(540))
    assert ops.look(700, *over) == [Kind.ENDED]
    assert {notice.about for notice in ops.told} == {"incident-failover-site-1"}


def test_incidents_that_turn_out_to_be_one_have_one_end() -> None:
    """An event between them is told late; the end says whose it is."""
    ops = Address(replace(TERMS, on=frozenset({OUTAGE, EventKind.STUCK_FAILOVER})))
    first, second = happened(OUTAGE, 0, 60), happened(OUTAGE, 4000)
    between = happened(OUTAGE, 1800, 1900, "copper")
    assert ops.look(300, first) == [Kind.PASSED]
    assert ops.look(4010, first, second) == [Kind.BEGAN]
    over = happened(OUTAGE, 4000, 4100)
    assert ops.look(6000, first, between, over) == [Kind.ENDED]
    assert (ops.told[2].about, ops.told[2].also) == ("incident-outage-fibre-0", ("incident-outage-fibre-4000",))


@pytest.mark.parametrize(
    ("kind", "end", "told"),
    [
        (EventKind.PIN_LOST, None, [Kind.BEGAN]),
        (EventKind.UNOBSERVED, 90, [Kind.PASSED]),
        (EventKind.CLOCK_STEP, None, [Kind.PASSED]),
    ],
)
def test_what_belongs_to_no_incident_is_told_by_itself(kind: EventKind, end: float | None, told: list[Kind]) -> None:
    """A lost pin is no trouble of the line, and can be asked for all the same."""
    ops = Address(replace(TERMS, on=frozenset({kind})))
    event = happened(kind, 0, end)
    assert ops.look(300, event, happened(OUTAGE, 5)) == told
    assert [notice.about for notice in ops.told] == [event.id]


def test_quiet_hours_hold_until_they_are_over() -> None:
    """Held at night; what still goes on in the morning is told then."""
    ops = Address(replace(TERMS, quiet=(22 * 60, 7 * 60)))
    night, morning = 10 * HOUR, 19 * HOUR
    open_ = happened(OUTAGE, night + 5)
    assert ops.look(night + 60, open_) == []
    assert ops.look(morning - 1, open_) == []
    assert ops.look(morning, open_) == [Kind.BEGAN]


def test_what_is_over_when_quiet_hours_are_is_told_in_one_notice() -> None:
    """Nobody has to read of an alarm that has ended hours ago twice."""
    ops = Address(replace(TERMS, quiet=(22 * 60, 7 * 60)))
    assert ops.look(11 * HOUR, happened(OUTAGE, 10 * HOUR + 5)) == []
    assert ops.look(19 * HOUR, happened(OUTAGE, 10 * HOUR + 5, 12 * HOUR)) == [Kind.PASSED]


def test_an_end_in_quiet_hours_is_told_in_the_morning() -> None:
    """What was told as begun is told as ended, only later."""
    ops = Address(replace(TERMS, quiet=(22 * 60, 7 * 60)))
    assert ops.look(9 * HOUR + 10, happened(OUTAGE, 9 * HOUR)) == [Kind.BEGAN]
    over = happened(OUTAGE, 9 * HOUR, 11 * HOUR)
    assert ops.look(12 * HOUR, over) == []
    assert ops.look(19 * HOUR, over) == [Kind.ENDED]


def test_a_second_spell_in_the_night_after_a_told_end_is_no_secret() -> None:
    """Told as over in the evening, down again and up again in the night: one notice tells it."""
    ops = Address(replace(TERMS, quiet=(22 * 60, 7 * 60)))
    first = happened(OUTAGE, 9 * HOUR, 9 * HOUR + 60)
    assert ops.look(9 * HOUR + 300, first) == [Kind.PASSED]
    second = happened(OUTAGE, 10 * HOUR - 100, 11 * HOUR)
    assert ops.look(19 * HOUR, first, second) == [Kind.PASSED]
    assert ops.told[0].id != ops.told[1].id


def test_chosen_kinds_break_quiet_hours_to_the_end() -> None:
    """A stuck failover cannot wait; whoever was woken by it is told that it is over."""
    stuck = EventKind.STUCK_FAILOVER
    ops = Address(replace(TERMS, quiet=(22 * 60, 7 * 60), through=frozenset({stuck})))
    night = 10 * HOUR
    down = happened(OUTAGE, night)
    assert ops.look(night + 10, down) == []
    assert ops.look(night + 45, down, happened(stuck, night + 30)) == [Kind.BEGAN]
    over = (happened(OUTAGE, night, night + 100), happened(stuck, night + 30, night + 100))
    assert ops.look(night + 300, *over) == [Kind.ENDED]


def test_quiet_hours_are_those_of_the_sites_clocks() -> None:
    """22:00 in London was 21:00 UTC in October, and is 22:00 UTC a day later.

    Source: the IANA time zone database; British Summer Time ended on 2026-10-25 at 01:00 UTC.
    """
    terms = replace(TERMS, quiet=(22 * 60, 7 * 60), zone=ZoneInfo("Europe/London"))
    summer = happened(OUTAGE, -8 * DAY + 9 * HOUR)  # 2026-10-23 21:00 UTC
    assert Address(terms).look(-8 * DAY + 9 * HOUR + 600, summer) == []
    winter = happened(OUTAGE, 9 * HOUR)  # 2026-10-31 21:00 UTC
    assert Address(terms).look(9 * HOUR + 600, winter) == [Kind.BEGAN]


def test_more_than_the_hour_takes_is_one_notice() -> None:
    """What exceeds the limit is joined; while there is no room at all, nothing is told."""
    pins = [happened(EventKind.PIN_LOST, second) for second in (0, 100, 200, 300, 400)]
    ops = Address(replace(TERMS, on=frozenset({EventKind.PIN_LOST}), most_an_hour=3))
    assert ops.look(20, *pins[:1]) == [Kind.BEGAN]
    assert ops.look(450, *pins) == [Kind.BEGAN, Kind.SEVERAL]
    assert [part.about for part in ops.told[-1].parts] == [event.id for event in pins[2:]]
    over = [replace(event, end=at(500)) for event in pins]
    assert ops.look(700, *over) == []
    assert ops.look(HOUR + 20, *over) == [Kind.SEVERAL]
    assert {part.kind for part in ops.told[-1].parts} == {Kind.ENDED}
    assert len(ops.told[-1].parts) == 5


def test_a_test_takes_no_room() -> None:
    """Whoever tries whether notices arrive uses up nothing."""
    ops = Address(replace(TERMS, most_an_hour=1))
    ops.told = [trial(TERMS, ns(0)), trial(TERMS, ns(1))]
    assert len({notice.id for notice in ops.told}) == 2
    assert ops.look(20, happened(OUTAGE, 5)) == [Kind.BEGAN]


def test_planned_work_is_no_alarm_unless_it_is_outlasted() -> None:
    """What was announced is left out while it lasts; a line that is dead after it is not part of the plan."""
    work = happened(EventKind.PLANNED_WORK, 0, HOUR)
    down = replace(happened(OUTAGE, 60), planned=True)
    ops = Address()
    assert ops.look(HOUR, work, down) == []
    assert ops.look(HOUR + 1, work, down) == [Kind.BEGAN]
    over = replace(happened(OUTAGE, 60, HOUR + 600), planned=True)
    assert ops.look(2 * HOUR, work, over) == [Kind.ENDED]


def test_planned_work_that_ends_in_time_is_told_to_those_only_who_ask_for_it() -> None:
    """The key to choose: marked and told, or left out."""
    work = happened(EventKind.PLANNED_WORK, 0, HOUR)
    over = replace(happened(OUTAGE, 60, 1200), planned=True)
    assert Address().look(HOUR, work, over) == []
    assert Address(replace(TERMS, planned=True)).look(HOUR, work, over) == [Kind.PASSED]


def test_an_outage_that_work_only_met_is_an_alarm() -> None:
    """It began before the work did."""
    work = happened(EventKind.PLANNED_WORK, 100, HOUR)
    down = replace(happened(OUTAGE, 0), planned=True)
    assert Address().look(200, work, down) == [Kind.BEGAN]
    over = replace(happened(OUTAGE, 0, 200), planned=True)
    assert Address().look(400, work, over) == [Kind.PASSED]


def test_a_drill_is_no_alarm_unless_it_is_outlasted() -> None:
    """Somebody pulls the plug on purpose and puts it back; if it does not come back, that is an alarm."""
    drill = happened(EventKind.DRILL, 0)
    moved = replace(away(61), drill=True)
    down = replace(happened(OUTAGE, 60), drill=True)
    ops = Address()
    assert ops.look(300, drill, down, moved) == []
    ended = happened(EventKind.DRILL, 0, 320)
    assert ops.look(400, ended, down, moved) == [Kind.BEGAN]
    assert Address(replace(TERMS, drills=True)).look(300, drill, down, moved) == [Kind.BEGAN]


def test_a_switch_of_a_drill_is_the_drills_though_its_silence_outlasts_it() -> None:
    """Traffic comes home as the drill ends."""
    drill = happened(EventKind.DRILL, 0, 300)
    home = replace(back(299.8), drill=True)
    assert Address().look(600, drill, replace(happened(OUTAGE, 60, 250), drill=True), home) == []


def test_announced_work_that_was_asked_for_is_told_when_it_begins_and_when_it_is_over() -> None:
    """It is kept with its end from the first; until then it goes on."""
    ops = Address(replace(TERMS, on=frozenset({EventKind.PLANNED_WORK})))
    work = happened(EventKind.PLANNED_WORK, HOUR, 2 * HOUR)
    assert ops.look(0, work) == []
    assert ops.look(HOUR + 10, work) == [Kind.BEGAN]
    assert ops.look(2 * HOUR - 1, work) == []
    assert ops.look(2 * HOUR + 120, work) == [Kind.ENDED]


def test_nobody_is_told_of_what_was_over_before_they_were_known() -> None:
    """A new address gets what goes on, not the record."""
    ops = Address(replace(TERMS, since_unix_ns=ns(DAY)))
    assert ops.look(DAY + 60, happened(OUTAGE, DAY - 900, DAY - 800)) == []
    assert ops.look(DAY + 90, happened(OUTAGE, DAY - 900)) == [Kind.BEGAN]


def test_what_was_over_two_days_ago_and_never_told_stays_untold() -> None:
    """A kind that is asked for from now on brings no flood of what lies behind."""
    assert Address().look(2 * DAY + 10, happened(OUTAGE, 0, 9)) == []
    assert Address().look(2 * DAY + 9, happened(OUTAGE, 0, 9)) == [Kind.PASSED]


def test_a_report_is_sent_once_and_to_those_who_asked() -> None:
    """When it is written, outside quiet hours."""
    terms = replace(TERMS, reports=True, quiet=(22 * 60, 7 * 60))
    october = {"2026-10": ns(11 * HOUR - 60)}
    assert wanted([], [], terms, ns(11 * HOUR), reports=october) == []
    (sent,) = wanted([], [], terms, ns(20 * HOUR), reports=october)
    assert (sent.kind, sent.about) == (Kind.REPORT, "report-2026-10")
    assert wanted([], [sent], terms, ns(21 * HOUR), reports=october) == []
    assert wanted([], [], TERMS, ns(20 * HOUR), reports=october) == []


def test_old_reports_are_not_sent_to_who_asks_from_now_on() -> None:
    """They lie in the folder, and can be read there."""
    terms = replace(TERMS, reports=True)
    assert wanted([], [], terms, ns(3 * DAY), reports={"2026-09": ns(DAY - 1)}) == []
    late = replace(terms, since_unix_ns=ns(DAY))
    (sent,) = wanted([], [], late, ns(DAY + 60), reports={"2026-09": ns(DAY - 1), "2026-10": ns(DAY)})
    assert sent.about == "report-2026-10"
