"""Months in which the clocks change: all seconds are accounted for, whatever the clocks on the wall showed.

Source: the IANA data base's rules for 2026: Europe/London and America/New_York an hour, Australia/Lord_Howe half an
hour, Asia/Kolkata never.
"""

from dataclasses import replace
from fractions import Fraction
from zoneinfo import ZoneInfo

import pytest

from tests.fakes.month import SITE, SUBJECT
from tests.fakes.record import MINUTE_NS, FakeRecord, minute_block
from wanwatch.core.account.period import month_of
from wanwatch.core.account.working import WorkingTime
from wanwatch.core.model import NS_PER_S, Bounds, Event, EventKind, Kind, Role, Series
from wanwatch.report.month import build_period

HOUR_NS = 3600 * NS_PER_S
NEAR = Series("fibre", "near", Kind.ECHO, Role.LINE)


@pytest.mark.parametrize(
    ("zone", "month", "hours", "weekdays"),
    [
        ("Europe/London", 3, 743, 22),
        ("Europe/London", 10, 745, 22),
        ("America/New_York", 3, 743, 22),
        ("America/New_York", 11, 721, 21),
        ("Australia/Lord_Howe", 4, 720.5, 22),
        ("Australia/Lord_Howe", 10, 743.5, 22),
        ("Asia/Kolkata", 10, 744, 22),
        ("Asia/Kolkata", 2, 672, 20),
    ],
)
def test_the_seconds_of_a_month_add_up(zone: str, month: int, hours: float, weekdays: int) -> None:
    """An outage over the first two hours of each month, and one that begins in the last half hour and goes on."""
    site = replace(SUBJECT, timezone=zone, working=WorkingTime(hours_min=(540, 1020)))
    period = month_of(2026, month, ZoneInfo(zone))
    first, last = period.span.start_unix_ns, period.span.end_unix_ns
    begun, over, again = (Bounds(*[at] * 3) for at in (first - HOUR_NS, first + 2 * HOUR_NS, last - HOUR_NS // 2))
    outages = [
        Event("a", SITE, EventKind.OUTAGE, "fibre", begun, over),
        Event("b", SITE, EventKind.OUTAGE, "fibre", again),
    ]
    minutes = [minute_block(NEAR, minute, [0], [9_000]) for minute in range(first // MINUTE_NS, last // MINUTE_NS)]
    found = build_period(FakeRecord(SITE, outages, [period.span], minutes), site, period, last + HOUR_NS)
    fibre = found.uplinks[0]
    times = fibre.times
    assert times.period_ns == hours * HOUR_NS == period.span.length_ns
    assert times.up_ns + times.impaired_ns + times.down_ns + times.unobserved_ns == times.period_ns
    assert times.down_ns == 5 * HOUR_NS // 2
    assert fibre.availability.value == 1 - Fraction(5, 2) / Fraction(hours)
    working = found.accounts.lines["fibre"].states.working
    assert working is not None
    assert working.times.period_ns == weekdays * 8 * HOUR_NS  # the clocks change on Sundays
