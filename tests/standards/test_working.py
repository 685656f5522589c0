"""Days that are paid for, against a published scheme.

Source: Ofcom, automatic compensation: a fault that is not mended within two whole working days is paid for each
calendar day after them. Bank holidays of 2026 are those of England; amounts are those of the scheme's launch in 2019.
"""

from datetime import UTC, date
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest

from wanwatch.core.account.calendar import month_span
from wanwatch.core.account.credits import Rate, Terms, credit, rate_on
from wanwatch.core.account.spans import total_ns
from wanwatch.core.account.working import WorkingTime, paid_days
from wanwatch.core.model import NS_PER_S

EASTER = frozenset({date(2026, 4, 3), date(2026, 4, 6)})
WEEK = WorkingTime(holidays=EASTER)
LAUNCH = Terms(fee=None, currency="GBP", rates=(Rate(date(2019, 4, 1), Decimal("8.00")),))
HOUR_NS = 3600 * NS_PER_S


def test_two_working_days_are_the_providers_own() -> None:
    """Reported on Friday 6 March, mended on Friday 13: Monday and Tuesday expire, Wednesday and Thursday are paid."""
    days = paid_days(date(2026, 3, 6), date(2026, 3, 13), WEEK, grace=2)
    assert days == [date(2026, 3, 11), date(2026, 3, 12)]
    assert credit(LAUNCH, None, days).total == Decimal("16.00")


def test_holidays_are_no_working_days() -> None:
    """Reported on Thursday before Easter: Tuesday and Wednesday expire, Thursday 9 April is the first paid day."""
    assert paid_days(date(2026, 4, 2), date(2026, 4, 10), WEEK, grace=2) == [date(2026, 4, 9)]


@pytest.mark.parametrize("mended", [date(2026, 3, 6), date(2026, 3, 9), date(2026, 3, 10), date(2026, 3, 11)])
def test_a_fault_that_is_mended_in_time_is_not_paid_for(mended: date) -> None:
    """Mended by the end of the second working day, or on the day after, which is the day of mending."""
    assert paid_days(date(2026, 3, 6), mended, WEEK, grace=2) == []


def test_each_day_is_paid_by_the_rate_of_that_day() -> None:
    """Amounts change on 1 April; one rate a day, by a dated table."""
    rates = (Rate(date(2025, 4, 1), Decimal("9.00")), Rate(date(2026, 4, 1), Decimal("10.34")))
    days = paid_days(date(2026, 3, 29), date(2026, 4, 3), WEEK, grace=0)
    found = credit(Terms(fee=None, currency="GBP", rates=rates), None, days)
    assert [line.amount for line in found.lines] == [Decimal("18.00"), Decimal("20.68")]
    assert rate_on(rates, date(2025, 3, 31)) is None


def test_working_hours_are_those_of_the_clocks_on_the_wall() -> None:
    """March 2026 in London has 22 days from Monday to Friday; the clocks change on a Sunday, and take nothing away."""
    hours = WorkingTime(hours_min=(9 * 60, 17 * 60))
    london = ZoneInfo("Europe/London")
    assert total_ns(hours.within(month_span(2026, 3, london), london)) == 22 * 8 * HOUR_NS
    nights = WorkingTime(hours_min=(22 * 60, 6 * 60), weekdays={5})  # from Saturday night into Sunday
    # 28 February was a Saturday, so March begins with six hours of its night.
    assert total_ns(nights.within(month_span(2026, 3, london), london)) == (6 + 4 * 8 - 1) * HOUR_NS
    assert total_ns(nights.within(month_span(2026, 3, UTC), UTC)) == (6 + 4 * 8) * HOUR_NS
