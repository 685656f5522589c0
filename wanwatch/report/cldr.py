"""A locale's manner of writing numbers and dates, from Unicode's Common Locale Data Repository as babel brings it.

Sources:     Unicode Technical Standard 35 (LDML), parts 3 and 4, and the data of CLDR.
Departures:  digits are always 0 to 9, as in the charts, addresses and data files beside them (numbering system `latn`).
             The sentences around are English and run from left to right; where the locale's own script does not, each
             date is set apart with isolates (UAX 9), so that it cannot change the order of what stands around it.
"""

from datetime import date, datetime
from decimal import Decimal
from functools import cache
from typing import Any, Final

from babel import Locale
from babel.dates import format_date, format_skeleton, format_time
from babel.numbers import format_decimal, get_decimal_symbol, get_group_symbol, get_minus_sign_symbol

_ISOLATE: Final = "\N{FIRST STRONG ISOLATE}{}\N{POP DIRECTIONAL ISOLATE}"


@cache
def manner_of(name: str) -> "Cldr":
    """Return the manner of a locale that `config` has found to be known, such as `de-CH`."""
    return Cldr(Locale.parse(name, sep="-"))


class Cldr:
    """As people of a locale write them."""

    def __init__(self, locale: Locale) -> None:
        self._locale = locale
        self._frame = _ISOLATE if locale.text_direction == "rtl" else "{}"
        self._mark = get_decimal_symbol(locale)
        self._marks = str.maketrans(
            {
                ",": get_group_symbol(locale),
                ".": self._mark,
                "-": get_minus_sign_symbol(locale),
                "%": str(locale.number_symbols["latn"]["percentSign"]),
            }
        )

    def number(self, text: str) -> str:
        """Write a number with all its decimals: `1.234,50`."""
        return self._figure(Decimal(text), self._locale.decimal_formats[None].pattern, text)

    def whole(self, number: int) -> str:
        """Write a count: `12,34,567`."""
        return self.number(str(number))

    def per_cent(self, text: str) -> str:
        """Write a number of hundredths with its sign where the locale puts it: `99,874 %`, `%99,874`."""
        return self._figure(Decimal(text) / 100, self._locale.percent_formats[None].pattern, text)

    def time(self, shown: datetime, decimals: int = 0) -> str:
        """Write a time of day, cut: `14:03:22,4`, `2:03:22.4 PM`."""
        pattern = self._locale.time_formats["medium"].pattern
        if not decimals:
            return self._framed(format_time(shown, pattern, locale=self._locale))
        step = 10 ** (6 - decimals)
        cut = shown.replace(microsecond=shown.microsecond // step * step)  # babel rounds
        fraction = f"ss'{self._mark}'{'S' * decimals}"
        return self._framed(format_time(cut, pattern.replace("ss", fraction), locale=self._locale))

    def minute(self, shown: datetime) -> str:
        """Write a time of day to the minute."""
        return self._framed(format_time(shown, "short", locale=self._locale))

    def together(self, day: str, time: str) -> str:
        """Write a day and a time of it in the locale's order."""
        joined = str(self._locale.datetime_formats["medium"]).replace("{1}", day).replace("{0}", time)
        return self._framed(joined)

    def weekday(self, day: date) -> str:
        """Write a day within a year, with its name: `Di., 13. Okt.`."""
        return self._skeleton("MMMEd", day)

    def of_month(self, day: date) -> str:
        """Write a day within a month, with its name: `Di., 13.`."""
        return self._skeleton("Ed", day)

    def day(self, day: date) -> str:
        """Write a day with its year: `13. Oktober 2026`."""
        return self._framed(format_date(day, "long", locale=self._locale))

    def day_in_digits(self, day: date) -> str:
        """Write the same shorter: `13.10.2026`."""
        return self._framed(format_date(day, "medium", locale=self._locale))

    def month(self, day: date) -> str:
        """Write a month: `Oktober 2026`."""
        return self._skeleton("yMMMM", day)

    def month_in_short(self, day: date) -> str:
        """Write the same in short: `Okt. 2026`."""
        return self._skeleton("yMMM", day)

    def weekdays(self) -> tuple[str, ...]:
        """Return the names of the days of a week in short, from Monday."""
        names: Any = self._locale.days["stand-alone"]["abbreviated"]
        return tuple(self._framed(str(names[number])) for number in range(7))

    def _figure(self, figure: Decimal, pattern: str, text: str) -> str:
        # Written with English marks first: babel takes two apostrophes, as between Swiss thousands, for quotes.
        said = format_decimal(figure, format=_with_decimals(pattern, text), locale="en")
        return said.translate(self._marks)

    def _skeleton(self, skeleton: str, day: date) -> str:
        return self._framed(format_skeleton(skeleton, day, locale=self._locale))

    def _framed(self, text: str) -> str:
        return self._frame.format(text)


def _with_decimals(pattern: str, text: str) -> str:
    """Return a pattern such as `#,##0.###` with exactly the decimals that a number is written with."""
    decimals = len(text.partition(".")[2])
    whole = pattern.replace(".###", "")
    return whole.replace("0", f"0.{'0' * decimals}", 1) if decimals else whole
