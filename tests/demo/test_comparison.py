"""Truth and conclusion are set side by side: all of it told, nothing invented, every figure near enough."""

from dataclasses import replace

import pytest

from wanwatch.core.model import Bounds, Domain, Event, EventKind
from wanwatch.demo.comparison import Row, compare
from wanwatch.demo.story import Truth

MS = 1_000_000
S = 1000 * MS
OUTAGE = Truth(EventKind.OUTAGE, "fibre", "cut", "spliced")
FAILOVER = Truth(EventKind.FAILOVER, None, "cut", "moved", cut_off="cut")
INSTANTS = {"open": 0, "cut": 46 * S, "moved": 51 * S, "spliced": 64 * S}


def around(ns: int, early_ms: int = 100, late_ms: int = 0) -> Bounds:
    """An instant and its bounds."""
    return Bounds(ns, ns - early_ms * MS, ns + late_ms * MS)


TOLD_OUTAGE = Event(
    "outage-fibre", "demo", EventKind.OUTAGE, "fibre", around(46 * S + 60 * MS), around(64 * S + 5 * MS)
)  # fmt: skip
TOLD_FAILOVER = Event(
    "failover-site", "demo", EventKind.FAILOVER, None, around(46 * S), around(51 * S), interruption_s=5.04
)  # fmt: skip


def test_what_was_told_rightly_agrees_and_shows_its_errors() -> None:
    """An estimate may be off within its own bounds; the errors are shown in milliseconds, the cut in seconds."""
    assert compare([OUTAGE, FAILOVER], INSTANTS, [TOLD_FAILOVER, TOLD_OUTAGE]) == [
        Row(EventKind.OUTAGE, "fibre", start_error_ms=60.0, end_error_ms=5.0),
        Row(EventKind.FAILOVER, None, start_error_ms=0.0, end_error_ms=0.0, cut_off_s=5.0, told_cut_off_s=5.04),
    ]


def test_what_was_not_told_is_a_fault() -> None:
    """A daemon that misses an outage has not agreed with the story."""
    assert compare([OUTAGE], INSTANTS, []) == [Row(EventKind.OUTAGE, "fibre", fault="happened, but was not told")]


def test_what_was_told_of_another_line_does_not_count() -> None:
    """An outage of copper is no outage of fibre: one is missing, one invented."""
    rows = compare([OUTAGE], INSTANTS, [replace(TOLD_OUTAGE, uplink="copper")])
    assert [(row.uplink, row.fault) for row in rows] == [
        ("fibre", "happened, but was not told"),
        ("copper", "told, but it did not happen"),
    ]


def test_an_invention_is_a_fault_and_a_word_about_ourselves_is_not() -> None:
    """Unobserved time and clock steps are this machine's; a second outage in the story is nobody's."""
    again = replace(TOLD_OUTAGE, id="outage-again", start=around(70 * S), end=around(71 * S))
    ours = replace(TOLD_OUTAGE, id="unobserved", kind=EventKind.UNOBSERVED)
    rows = compare([OUTAGE], INSTANTS, [again, TOLD_OUTAGE, ours])
    assert [row.fault for row in rows] == ["", "told, but it did not happen"]


def test_what_may_have_begun_before_the_story_is_not_judged() -> None:
    """A performance in the same folder may have been stopped in its outage, which then ends in this one."""
    rest = replace(TOLD_OUTAGE, id="outage-before", start=around(50 * MS), end=around(200 * MS))
    assert [row.fault for row in compare([OUTAGE], INSTANTS, [rest, TOLD_OUTAGE])] == [""]


@pytest.mark.parametrize(
    ("told", "fault"),
    [
        (replace(TOLD_OUTAGE, start=around(46 * S + 301 * MS)), "the true start is outside its bounds"),
        (replace(TOLD_OUTAGE, end=around(64 * S - 101 * MS)), "the true end is outside its bounds"),
        (replace(TOLD_OUTAGE, end=None), "not ended"),
    ],
)
def test_the_truth_must_lie_within_the_bounds(told: Event, fault: str) -> None:
    """Bounds that leave the truth out by more than a tenth of a second are wrong."""
    (row,) = compare([OUTAGE], INSTANTS, [told])
    assert row.fault == fault


@pytest.mark.parametrize(
    ("domain", "fault"),
    [(None, ""), (Domain.ACCESS_LINE, ""), (Domain.OUR_SIDE, "it did not break at our-side")],
)
def test_the_wrong_place_is_a_fault_and_no_place_is_none(domain: Domain | None, fault: str) -> None:
    """A daemon may leave open where it broke; it must not name a place where nothing was wrong."""
    truth = replace(OUTAGE, not_in=frozenset({Domain.OUR_SIDE}))
    (row,) = compare([truth], INSTANTS, [replace(TOLD_OUTAGE, domain=domain)])
    assert row.fault == fault


@pytest.mark.parametrize(
    ("told_s", "fault"),
    [
        (5.25, ""),
        (4.75, ""),
        (5.26, "the interruption is off"),
        (4.74, "the interruption is off"),
        (None, "the interruption was not told"),
    ],
)
def test_an_interruption_is_right_to_a_quarter_of_a_second(told_s: float | None, fault: str) -> None:
    """People were cut off for 5 s; the daemon may be 0.25 s off, not more."""
    (row,) = compare([FAILOVER], INSTANTS, [replace(TOLD_FAILOVER, interruption_s=told_s)])
    assert row.fault == fault
