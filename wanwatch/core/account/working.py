"""Working time: the hours and days in which a provider mends, and the days for which it pays.

Sources: common practice of contracts, no published source; days are counted in `paid_days` as in Ofcom's scheme of
automatic compensation. Holidays are a list that the caller brings.
"""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, timedelta, tzinfo
from itertools import islice
from typing import Final

from wanwatch.core.account.calendar import daily_hours
from wanwatch.core.model import Span

MONDAY_TO_FRIDAY: Final = frozenset(range(5))
ALL_DAY_MIN: Final = (0, 24 * 60)


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkingTime:
    """When somebody works.

    Attributes:
        hours_min: From and to, in minutes from midnight; where the end is less, past midnight.
        weekdays: Days of the week, 0 for Monday.
        holidays: Days on which nobody works, whatever day of the week it is.
    """

    hours_min: tuple[int, int] = ALL_DAY_MIN
    weekdays: Collection[int] = MONDAY_TO_FRIDAY
    holidays: Collection[date] = frozenset()

    def works_on(self, day: date) -> bool:
        """Say whether *day* is a working day."""
        return day.weekday() in self.weekdays and day not in self.holidays

    def within(self, span: Span, zone: tzinfo) -> tuple[Span, ...]:
        """Return the working time in *span*; hours past midnight belong to the day on which they began."""
        return daily_hours(span, zone, *self.hours_min, on=self.works_on)


WEEKDAYS: Final = WorkingTime()
"""Monday to Friday, round the clock, without holidays."""


def paid_days(reported: date, mended: date, working: WorkingTime, *, grace: int) -> list[date]:
    """Return the days that are paid for, of a fault that was reported and mended on these days.

    So many whole working days after the report are the provider's own; every calendar day after them is paid, up to
    the day before the one of mending.
    """
    after = (reported + timedelta(days=n) for n in range(1, (mended - reported).days + 2))
    own = list(islice((day for day in after if working.works_on(day)), grace))
    if len(own) < grace:
        return []
    first = own[-1] if own else reported
    return [first + timedelta(days=n) for n in range(1, (mended - first).days)]
