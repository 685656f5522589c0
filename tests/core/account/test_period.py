"""Periods by name, and how long they truly are."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from wanwatch.core.account.period import last_days, month_before, month_of, named
from wanwatch.core.model import NS_PER_S

HOUR_NS = 3600 * NS_PER_S


@pytest.mark.parametrize(
    ("zone", "name", "hours"),
    [
        # The IANA data base's rules for 2026 (Europe and America) and since 2008 (Lord Howe); Kolkata never changes.
        ("Europe/London", "2026-03", 743),
        ("Europe/London", "2026-10", 745),
        ("Europe/London", "2026-Q4", 745 + 720 + 744),
        ("America/New_York", "2026-03", 743),
        ("America/New_York", "2026-11", 721),
        ("Australia/Lord_Howe", "2026-04", 720.5),
        ("Australia/Lord_Howe", "2026-10", 743.5),
        ("Asia/Kolkata", "2026-10", 744),
        ("America/New_York", "2026", 8760),
        ("Australia/Lord_Howe", "2028", 8784),
    ],
)
def test_a_period_is_as_long_as_it_truly_was(zone: str, name: str, hours: float) -> None:
    """Days have 23, 23.5, 24.5 or 25 hours where the clocks change; over a year the changes cancel out."""
    found = named(name, ZoneInfo(zone))
    assert found is not None
    assert found.name == name
    assert found.span.length_ns == hours * HOUR_NS


@pytest.mark.parametrize(
    "name", ["2026-00", "2026-13", "2026-Q0", "2026-Q5", "26", "1969", "9999-12", "9999", "2026-1", "october", ""]
)
def test_what_the_calendar_does_not_have_has_no_period(name: str) -> None:
    """A name is a name of RFC 3339's digits, or there is none."""
    assert named(name, UTC) is None


def test_days_end_with_the_last_midnight_of_the_site() -> None:
    """At 01:30 in London on the 26th of October, the last two days were the 24th and the long 25th: 49 hours."""
    now = datetime(2026, 10, 26, 1, 30, tzinfo=UTC)
    found = last_days(2, round(now.timestamp()) * NS_PER_S, ZoneInfo("Europe/London"))
    assert found.name == "2-days-to-2026-10-25"
    assert found.title == "2 days to 25 October 2026"
    assert found.span.length_ns == 49 * HOUR_NS
    assert found.span.end_unix_ns == round((now - timedelta(minutes=90)).timestamp()) * NS_PER_S
    assert (found.year, found.month, found.word) == (2026, 10, "time")


def test_months_are_counted_back_over_the_turn_of_the_year() -> None:
    """Two months before January is November."""
    january = month_of(2027, 1, UTC)
    assert [month_before(january, UTC, back).name for back in (0, 1, 2, 13)] == [
        "2027-01", "2026-12", "2026-11", "2025-12",
    ]  # fmt: skip
