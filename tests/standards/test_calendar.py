"""Months and days in true seconds.

Source: the zones' rules in the IANA time zone data base, through the standard library's zoneinfo; the expected
lengths follow from the published dates of the changes in 2026 (Europe: last Sundays of March and October at 01:00
UTC; United States: second Sunday of March and first Sunday of November at 02:00 local).
"""

from datetime import UTC, date, datetime
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wanwatch.core.account.calendar import daily_hours, days, local_time, month_span
from wanwatch.core.model import NS_PER_S, Span

HOUR_NS = 3600 * NS_PER_S
LONDON, NEW_YORK = ZoneInfo("Europe/London"), ZoneInfo("America/New_York")


def instant(text: str) -> int:
    """The Unix nanoseconds of an RFC 3339 instant."""
    return int(datetime.fromisoformat(text).timestamp()) * NS_PER_S


@pytest.mark.parametrize(
    ("zone", "hours"),
    [
        ("UTC", {2: 672, 3: 744, 4: 720, 10: 744, 11: 720}),
        ("Europe/London", {2: 672, 3: 743, 4: 720, 10: 745, 11: 720}),
        ("America/New_York", {2: 672, 3: 743, 4: 720, 10: 744, 11: 721}),
        ("Europe/Berlin", {2: 672, 3: 743, 4: 720, 10: 745, 11: 720}),
        ("Asia/Kolkata", {2: 672, 3: 744, 4: 720, 10: 744, 11: 720}),
        # Lord Howe's clocks change by half an hour, on 5 April and 4 October 2026.
        ("Australia/Lord_Howe", {2: 672, 3: 744, 4: 720.5, 10: 743.5, 11: 720}),
    ],
)
def test_a_month_is_as_long_as_it_really_was(zone: str, hours: dict[int, float]) -> None:
    """743, 744, 745 and 721 hours, and half hours, where the clocks change in 2026."""
    for month, length in hours.items():
        assert month_span(2026, month, ZoneInfo(zone)).length_ns == int(length * HOUR_NS), (zone, month)


@pytest.mark.parametrize(
    ("zone", "month", "start", "end"),
    [
        (LONDON, 3, "2026-03-01T00:00:00Z", "2026-03-31T23:00:00Z"),
        (LONDON, 10, "2026-09-30T23:00:00Z", "2026-11-01T00:00:00Z"),
        (NEW_YORK, 11, "2026-11-01T04:00:00Z", "2026-12-01T05:00:00Z"),
        (UTC, 12, "2026-12-01T00:00:00Z", "2027-01-01T00:00:00Z"),
    ],
)
def test_a_month_begins_and_ends_at_local_midnight(zone: ZoneInfo, month: int, start: str, end: str) -> None:
    """The bounds in UTC move with the zone's offset on each side."""
    assert month_span(2026, month, zone) == Span(instant(start), instant(end))


@pytest.mark.parametrize(
    ("zone", "day", "hours"),
    [
        (LONDON, date(2026, 3, 29), 23),
        (LONDON, date(2026, 10, 25), 25),
        (NEW_YORK, date(2026, 3, 8), 23),
        (NEW_YORK, date(2026, 11, 1), 25),
        # Beirut's clocks skip midnight itself on 29 March 2026: the day begins at 01:00.
        (ZoneInfo("Asia/Beirut"), date(2026, 3, 29), 23),
    ],
)
def test_a_day_of_change_has_23_or_25_hours(zone: ZoneInfo, day: date, hours: int) -> None:
    """The ribbon of such a day is shorter, or longer, than the others."""
    lengths = {d: span.length_ns for d, span in days(month_span(2026, day.month, zone), zone)}
    assert lengths.pop(day) == hours * HOUR_NS
    assert set(lengths.values()) == {24 * HOUR_NS}


def test_a_year_is_8760_hours_in_every_zone() -> None:
    """What the clocks lose in spring they give back in autumn."""
    for name in ("UTC", "Europe/London", "America/New_York", "Australia/Lord_Howe", "Asia/Kolkata"):
        months = [month_span(2026, month, ZoneInfo(name)) for month in range(1, 13)]
        assert sum(span.length_ns for span in months) == 8760 * HOUR_NS


def test_the_hour_that_comes_twice_is_told_by_its_offset() -> None:
    """01:30 on 25 October in London is 00:30Z, and an hour later 01:30Z."""
    first, second = (local_time(instant(f"2026-10-25T{hour}:30:00Z"), LONDON) for hour in ("00", "01"))
    assert [t.isoformat() for t in (first, second)] == ["2026-10-25T01:30:00+01:00", "2026-10-25T01:30:00+00:00"]


def test_the_hours_of_a_clause_follow_the_clocks_on_the_wall() -> None:
    """20:00 to 22:00 in London: 31 spans of 2 h in October, before the change at 19:00Z and after it at 20:00Z."""
    month = month_span(2026, 10, LONDON)
    spans = daily_hours(month, LONDON, 20 * 60, 22 * 60)
    assert len(spans) == 31
    assert {span.length_ns for span in spans} == {2 * HOUR_NS}
    assert spans[0].start_unix_ns == instant("2026-10-01T19:00:00Z")
    assert spans[-1].start_unix_ns == instant("2026-10-31T20:00:00Z")


def test_hours_that_pass_midnight_are_cut_at_the_month_s_ends() -> None:
    """22:00 to 06:00: the month begins with six hours of its first night and ends with two of its last."""
    month = month_span(2026, 11, LONDON)
    spans = daily_hours(month, LONDON, 22 * 60, 6 * 60)
    assert [span.length_ns // HOUR_NS for span in spans] == [6, *[8] * 29, 2]


@given(
    st.sampled_from(["Europe/London", "America/New_York", "Australia/Lord_Howe", "Asia/Kolkata", "Africa/Cairo"]),
    st.integers(1990, 2036),
    st.integers(1, 12),
)
def test_days_fill_their_month_without_hole_or_overlap(zone: str, year: int, month: int) -> None:
    """However the clocks change, the days of a month follow each other and add up to it."""
    place = ZoneInfo(zone)
    span = month_span(year, month, place)
    spans = [day for _, day in days(span, place)]
    assert spans[0].start_unix_ns == span.start_unix_ns
    assert spans[-1].end_unix_ns == span.end_unix_ns
    assert all(a.end_unix_ns == b.start_unix_ns for a, b in pairwise(spans))
