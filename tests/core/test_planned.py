"""Planned work: what may be announced, and what reaches into it."""

from dataclasses import replace
from fractions import Fraction

import pytest

from wanwatch.core.account.availability import availability, times_in
from wanwatch.core.account.clauses import Promise, Verdict, counted_out, rule
from wanwatch.core.account.spans import subtract
from wanwatch.core.account.timeline import timeline
from wanwatch.core.model import NS_PER_S, Bounds, Event, EventKind, Span
from wanwatch.core.planned import PlanError, announced, marked

HOUR_NS = 3600 * NS_PER_S
DAY_NS = 24 * HOUR_NS
NOW = 1_793_700_000 * NS_PER_S
"""2026-11-03T10:00:00Z."""


def announce(
    start: int, end: int, *uplinks: str, why: str = "splicing", now: int = NOW, afterwards: bool = False
) -> list[Event]:
    """Announce a window for hours after 10:00."""
    window = Span(NOW + start * HOUR_NS, NOW + end * HOUR_NS)
    known = ["fibre", "copper"]
    return announced("s", window, why, uplinks=uplinks, known=known, now_unix_ns=now, afterwards=afterwards)


def exactly(hours: float) -> Bounds:
    instant = NOW + int(hours * HOUR_NS)
    return Bounds(instant, instant, instant)


def happened(
    start: float, end: float | None, uplink: str | None = "fibre", kind: EventKind = EventKind.OUTAGE
) -> Event:
    return Event("e", "s", kind, uplink, exactly(start), end=None if end is None else exactly(end))


def is_marked(event: Event, *windows: Event) -> bool:
    return marked([event], windows)[0].planned


def test_a_window_is_kept_with_exact_bounds_its_reason_and_when_it_was_announced() -> None:
    """An announcement is not observed: it says what it says."""
    assert announce(12, 14, "fibre") == [
        Event(
            id="planned-work-fibre-20261103T220000.000Z",
            site="s",
            kind=EventKind.PLANNED_WORK,
            uplink="fibre",
            start=exactly(12),
            end=exactly(14),
            detail={"why": "splicing", "announced": "beforehand", "announced_at": "2026-11-03T10:00:00.000000Z"},
        )
    ]


def test_a_window_of_several_uplinks_is_one_event_each_and_of_none_the_sites() -> None:
    """A name given twice is one line."""
    assert [event.uplink for event in announce(1, 2, "copper", "fibre", "copper")] == ["copper", "fibre"]
    assert [event.uplink for event in announce(1, 2)] == [None]


def test_whether_it_was_announced_beforehand_is_told_by_the_clock() -> None:
    """`afterwards` allows a window that has begun; it does not make one of it that is still to come."""
    assert announce(-1, 2, afterwards=True)[0].detail["announced"] == "afterwards"
    assert announce(1, 2, afterwards=True)[0].detail["announced"] == "beforehand"


@pytest.mark.parametrize(
    ("start", "end", "said"),
    [
        (
            -1,
            2,
            (
                "--from '2026-11-03T09:00:00.000000Z': has passed already; announce a window that is still to come, or"
                " add --afterwards: then it is kept, but counts nothing out"
            ),
        ),
        (
            2,
            2,
            (
                "--to '2026-11-03T12:00:00.000000Z': is not after --from 2026-11-03T12:00:00.000000Z; swap them, or"
                " move the end"
            ),
        ),
        (1, 24 * 366 + 2, "--to '2027-11-04T12:00:00.000000Z': makes a window of more than a year; check the year"),
        (24 * 367, 24 * 368, "--from '2027-11-05T10:00:00.000000Z': is more than a year from now; check the year"),
        (10**8, 10**8 + 1, "--from '361793700000 s': is more than a year from now; check the year"),
    ],
)
def test_a_window_that_will_not_do_is_told_with_what_to_mend(start: int, end: int, said: str) -> None:
    """Thing, value, reason and mend."""
    with pytest.raises(PlanError) as raised:
        announce(start, end)
    assert str(raised.value) == said


def test_an_uplink_that_is_not_there_is_told_with_those_that_are() -> None:
    """A slip of the pen must not announce work on nothing."""
    with pytest.raises(PlanError) as raised:
        announce(1, 2, "fiber")
    assert str(raised.value) == "--uplink 'fiber': there is no such uplink; take one of: copper, fibre"


@pytest.mark.parametrize("why", ["", "  ", "a\nb", "\x1b[2J", "x" * 301])
def test_a_reason_is_one_printable_line(why: str) -> None:
    """It is shown on terminals and in reports as it was given."""
    with pytest.raises(PlanError, match="--why"):
        announce(1, 2, why=why)


@pytest.mark.parametrize(
    ("start", "end", "planned"),
    [
        (0, 0.9, False),
        (0, 1, False),  # half open: what ends with the window's begin does not reach into it
        (0, 1.1, True),
        (1.2, 1.3, True),
        (1.9, 5, True),
        (2, 3, False),
        (0, None, False),  # still going on, begun before: nobody knows yet
        (1.5, None, True),
    ],
)
def test_what_reaches_into_a_window_is_marked(start: float, end: float | None, planned: bool) -> None:  # noqa: FBT001 - a column
    """By the estimates of its instants, as accounting does."""
    assert is_marked(happened(start, end), *announce(1, 2, "fibre")) is planned


def test_a_window_marks_its_own_line_and_a_window_of_the_site_marks_all() -> None:
    """Switches belong to the lines that traffic left and took."""
    of_fibre, of_site = announce(1, 2, "fibre"), announce(1, 2)
    switch = replace(happened(1.5, 1.5, None, EventKind.FAILOVER), from_uplink="fibre", to_uplink="copper")
    elsewhere = happened(1.5, 1.6, "copper")
    back = replace(switch, kind=EventKind.FAILBACK, from_uplink="copper", to_uplink="fibre")
    assert is_marked(switch, *of_fibre)
    assert is_marked(back, *of_fibre)
    assert not is_marked(elsewhere, *of_fibre)
    assert is_marked(elsewhere, *of_site)


def test_a_window_announced_afterwards_and_a_window_itself_are_not_marked() -> None:
    """Planned work is what was announced beforehand."""
    late = announce(1, 3, "fibre", now=NOW + 4 * HOUR_NS, afterwards=True)
    assert not is_marked(happened(1.5, 1.6), *late)
    assert not is_marked(announce(1, 2, "fibre")[0], *announce(1, 2))


def verdict(windows: list[Event], counts_out: frozenset[str]) -> tuple[Verdict, Fraction]:
    """Judge a day with one outage from 11:00 to 14:00 of a line that is otherwise up, by 95 %."""
    day = Span(NOW, NOW + DAY_NS)
    events = [*marked([happened(1, 4)], windows), *windows]
    promise = Promise(measure="availability", text="", limit=Fraction("0.95"), at_least=True, counts_out=counts_out)
    states = timeline(day, "fibre", events=events, watched=[day], probed=[day], now_unix_ns=day.end_unix_ns)
    found = availability(times_in(states, subtract([day], counted_out(counts_out, events, day.end_unix_ns))))
    assert isinstance(found.value, Fraction)
    return rule(promise, found, running=False).verdict, found.value


def test_only_the_announced_hours_of_an_outage_are_counted_out() -> None:
    """Work from 11:00 to 13:00 that is overrun by an hour: 22 h count, 1 h of them down (ITU-T E.800)."""
    planned = frozenset({"planned-work"})
    two_hours = announce(1, 3, "fibre")
    assert verdict([], planned) == (Verdict.BREACHED, Fraction(21, 24))
    assert verdict(two_hours, frozenset()) == (Verdict.BREACHED, Fraction(21, 24))
    assert verdict(two_hours, planned) == (Verdict.MET, Fraction(21, 22))


def test_a_window_announced_afterwards_counts_nothing_out() -> None:
    """Else every outage could be excused once it is over."""
    late = announce(1, 4, "fibre", now=NOW + 5 * HOUR_NS, afterwards=True)
    assert verdict(late, frozenset({"planned-work"})) == (Verdict.BREACHED, Fraction(21, 24))
