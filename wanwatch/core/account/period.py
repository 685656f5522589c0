"""Periods that a report speaks of: a month, a quarter or a year of the calendar, or the last whole days.

All are cut at local midnights, so they are as long as they really were. Days end with the last midnight and not now:
asked again on the same day, they are the same time.
"""

import re
from dataclasses import dataclass
from datetime import date, timedelta, tzinfo
from typing import Final

from wanwatch.core.account.calendar import Per, calendar_span, local_time, midnight_unix_ns
from wanwatch.core.model import Span

_NAMED: Final = re.compile(r"(?P<year>\d{4})(?:-(?:Q(?P<quarter>[1-4])|(?P<month>0[1-9]|1[0-2])))?")
_YEARS: Final = range(1970, date.max.year)
"""From the first that Unix time knows to the last whose end the calendar can tell."""
MOST_DAYS: Final = 366


@dataclass(frozen=True, slots=True, kw_only=True)
class Period:
    """A time that is reported on.

    Attributes:
        name: `2026-10`, `2026-Q4`, `2026`, `30-days-to-2026-10-31`, or two instants (ISO 8601).
        title: The same in words.
        per: What of the calendar it is; None for days.
        year: The year of its last day.
        month: The month of its last day, 1 to 12.
        span: The time itself.
    """

    name: str
    title: str
    per: Per | None
    year: int
    month: int
    span: Span

    @property
    def word(self) -> str:
        """What it is called in a sentence: month, quarter, year, or time."""
        return self.per.value if self.per else "time"


def month_of(year: int, month: int, zone: tzinfo) -> Period:
    """Return a month of the calendar.

    Raises:
        ValueError: There is no such month.
    """
    return Period(
        name=f"{year}-{month:02d}", title=f"{date(year, month, 1):%B %Y}", per=Per.MONTH, year=year, month=month,
        span=calendar_span(Per.MONTH, year, month, zone),
    )  # fmt: skip


def quarter_of(year: int, quarter: int, zone: tzinfo) -> Period:
    """Return a quarter of the calendar, 1 to 4."""
    last = quarter * Per.QUARTER.months
    return Period(
        name=f"{year}-Q{quarter}", title=f"Quarter {quarter} of {year}", per=Per.QUARTER, year=year, month=last,
        span=calendar_span(Per.QUARTER, year, last, zone),
    )  # fmt: skip


def year_of(year: int, zone: tzinfo) -> Period:
    """Return a year of the calendar."""
    last = Per.YEAR.months
    return Period(
        name=f"{year}", title=f"The year {year}", per=Per.YEAR, year=year, month=last,
        span=calendar_span(Per.YEAR, year, last, zone),
    )  # fmt: skip


def last_days(number: int, now_unix_ns: int, zone: tzinfo) -> Period:
    """Return the last *number* whole days before an instant, 1 to `MOST_DAYS`."""
    today = local_time(now_unix_ns, zone).date()
    last = today - timedelta(days=1)
    days = "day" if number == 1 else "days"
    span = Span(midnight_unix_ns(today - timedelta(days=number), zone), midnight_unix_ns(today, zone))
    return Period(
        name=f"{number}-{days}-to-{last.isoformat()}", title=f"{number} {days} to {last.day} {last:%B %Y}", per=None,
        year=last.year, month=last.month, span=span,
    )  # fmt: skip


def stretch(span: Span, zone: tzinfo) -> Period:
    """Return any stretch of time as a period."""
    first, last = (local_time(at, zone) for at in (span.start_unix_ns, span.end_unix_ns))
    name = f"{first.isoformat(timespec='seconds')}/{last.isoformat(timespec='seconds')}"
    return Period(name=name, title=name, per=None, year=last.year, month=last.month, span=span)


def month_before(period: Period, zone: tzinfo, back: int = 1) -> Period:
    """Return the month that lies so many months *back* from the month of a period's last day."""
    months = period.year * Per.YEAR.months + period.month - 1 - back
    return month_of(months // Per.YEAR.months, months % Per.YEAR.months + 1, zone)


def named(text: str, zone: tzinfo) -> Period | None:
    """Return the month, quarter or year that *text* names; None where the calendar has none of that name."""
    match = _NAMED.fullmatch(text)
    year = int(match["year"]) if match else 0
    if match is None or year not in _YEARS:
        return None
    if match["month"]:
        return month_of(year, int(match["month"]), zone)
    return quarter_of(year, int(match["quarter"]), zone) if match["quarter"] else year_of(year, zone)
