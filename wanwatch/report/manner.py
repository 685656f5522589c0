"""Manners: how numbers and dates are written. `Pen` says with how many digits, and in which units; these say the rest.

The plain manner is that of ISO: a point, narrow spaces between thousands (ISO 80000-1), hours from 0 to 24 (ISO 8601),
names of days and months in English. A locale's own is in `cldr`.
"""

from datetime import date, datetime
from typing import Protocol


class Manner(Protocol):
    """How numbers and dates are written; numbers come as Python writes them, with as many decimals as are wanted."""

    def number(self, text: str) -> str:
        """Write a number."""
        ...

    def whole(self, number: int) -> str:
        """Write a count, with its thousands set apart."""
        ...

    def per_cent(self, text: str) -> str:
        """Write a number of hundredths with its sign."""
        ...

    def time(self, shown: datetime, decimals: int = 0) -> str:
        """Write a time of day to the second or its decimals, cut."""
        ...

    def minute(self, shown: datetime) -> str:
        """Write a time of day to the minute."""
        ...

    def together(self, day: str, time: str) -> str:
        """Write a day and a time of it."""
        ...

    def weekday(self, day: date) -> str:
        """Write a day within a year, with its name: `Tue 13 Oct`."""
        ...

    def of_month(self, day: date) -> str:
        """Write a day within a month, with its name: `Tue 13`."""
        ...

    def day(self, day: date) -> str:
        """Write a day with its year: `13 October 2026`."""
        ...

    def day_in_digits(self, day: date) -> str:
        """Write the same as short as can be: `2026-10-13`."""
        ...

    def month(self, day: date) -> str:
        """Write a month: `October 2026`."""
        ...

    def month_in_short(self, day: date) -> str:
        """Write the same in short: `Oct 2026`."""
        ...

    def weekdays(self) -> tuple[str, ...]:
        """Return the names of the days of a week in short, from Monday (ISO 8601)."""
        ...


class Plain:
    """As ISO writes them, in English."""

    def number(self, text: str) -> str:
        """`1234.5`."""
        return text

    def whole(self, number: int) -> str:
        """`1 234`, with a narrow space."""
        return f"{number:,}".replace(",", "\u202f")

    def per_cent(self, text: str) -> str:
        """`99.9%`."""
        return f"{text}%"

    def time(self, shown: datetime, decimals: int = 0) -> str:
        """`14:03:22.4`."""
        fraction = f".{shown.microsecond:06d}"[: 1 + decimals] if decimals else ""
        return f"{shown:%H:%M:%S}{fraction}"

    def minute(self, shown: datetime) -> str:
        """`14:03`."""
        return f"{shown:%H:%M}"

    def together(self, day: str, time: str) -> str:
        """`Tue 13 Oct 14:03:22`."""
        return f"{day} {time}"

    def weekday(self, day: date) -> str:
        """`Tue 13 Oct`."""
        return f"{day:%a} {day.day} {day:%b}"

    def of_month(self, day: date) -> str:
        """`Tue 13`."""
        return f"{day:%a} {day.day}"

    def day(self, day: date) -> str:
        """`13 October 2026`."""
        return f"{day.day} {day:%B %Y}"

    def day_in_digits(self, day: date) -> str:
        """`2026-10-13`."""
        return f"{day:%Y-%m-%d}"

    def month(self, day: date) -> str:
        """`October 2026`."""
        return f"{day:%B %Y}"

    def month_in_short(self, day: date) -> str:
        """`Oct 2026`."""
        return f"{day:%b %Y}"

    def weekdays(self) -> tuple[str, ...]:
        """`Mon` to `Sun`."""
        return ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


PLAIN = Plain()
