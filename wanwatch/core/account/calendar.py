"""The calendar: local months and days as true stretches of time.

A month is cut in the site's time zone, and is as long as it really was: 743, 744, 745 or 721 hours where the clocks
change. Every difference is taken in UTC, because the difference of two local times that share a zone is the
difference of what the clocks showed, not the time that passed.

Source: RFC 3339 for instants with an offset; the zone's rules are the caller's `tzinfo` (the IANA data base).
"""

from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from enum import StrEnum
from typing import Final

from wanwatch.core.account.spans import intersect
from wanwatch.core.model import NS_PER_S, Span

_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_MONTHS_A_YEAR: Final = 12
_DAY_NS: Final = 86_400 * NS_PER_S


class Per(StrEnum):
    """A time that contracts are reckoned over."""

    MONTH = "month"
    QUARTER = "quarter"
    YEAR = "year"

    @property
    def months(self) -> int:
        """How many months it has."""
        return {Per.MONTH: 1, Per.QUARTER: 3, Per.YEAR: _MONTHS_A_YEAR}[self]


def midnight_unix_ns(day: date, zone: tzinfo) -> int:
    """Return the instant at which *day* begins in *zone*.

    Where the clocks skip midnight the day begins with the skip; where midnight comes twice, with the first.
    """
    return _wall_unix_ns(day, 0, zone)


def day_span(day: date, zone: tzinfo) -> Span:
    """Return a local day, whole: 23, 24 or 25 hours, or what the zone's rules make of it."""
    return Span(midnight_unix_ns(day, zone), midnight_unix_ns(day + timedelta(days=1), zone))


def month_span(year: int, month: int, zone: tzinfo) -> Span:
    """Return a local month, from its first midnight to the next month's.

    Raises:
        ValueError: There is no such month.
    """
    first = date(year, month, 1)
    after = date(year + month // _MONTHS_A_YEAR, month % _MONTHS_A_YEAR + 1, 1)
    return Span(midnight_unix_ns(first, zone), midnight_unix_ns(after, zone))


def calendar_span(per: Per, year: int, month: int, zone: tzinfo) -> Span:
    """Return the local month, or the quarter or the year of the calendar that it belongs to."""
    first = (month - 1) // per.months * per.months + 1
    last = first + per.months - 1
    return Span(month_span(year, first, zone).start_unix_ns, month_span(year, last, zone).end_unix_ns)


def days(span: Span, zone: tzinfo) -> Iterator[tuple[date, Span]]:
    """Yield each local day that *span* touches, whole."""
    day = local_time(span.start_unix_ns, zone).date()
    while (whole := day_span(day, zone)).start_unix_ns < span.end_unix_ns:
        yield day, whole
        day += timedelta(days=1)


def daily_hours(
    span: Span, zone: tzinfo, from_min: int, to_min: int, *, on: Callable[[date], bool] = lambda _day: True
) -> tuple[Span, ...]:
    """Return the same hours of every local day, in minutes from midnight; where *to_min* is less, past midnight.

    Only days of which *on* says so are taken; hours past midnight belong to the day on which they began.
    """
    found = []
    first = local_time(span.start_unix_ns, zone).date() - timedelta(days=1)  # its last hours may pass midnight
    for number in range((span.length_ns // _DAY_NS) + 3):
        day = first + timedelta(days=number)
        if not on(day):
            continue
        after = day if to_min > from_min else day + timedelta(days=1)
        found.append(Span(_wall_unix_ns(day, from_min, zone), _wall_unix_ns(after, to_min, zone)))
    return intersect(found, [span])


def _wall_unix_ns(day: date, minutes: int, zone: tzinfo) -> int:
    shown = datetime.combine(day, time()) + timedelta(minutes=minutes)
    return (shown.replace(tzinfo=zone).astimezone(UTC) - _EPOCH) // timedelta(seconds=1) * NS_PER_S


def local_time(unix_ns: int, zone: tzinfo) -> datetime:
    """Return an instant as the clocks in *zone* showed it, to the microsecond below."""
    return (_EPOCH + timedelta(microseconds=unix_ns // 1000)).astimezone(zone)
