"""Pen: writes the figures and instants of a report as people read them, in the site's zone and its manner.

Nothing is rounded to a bound that it has not reached: 99.996% is never printed as 100%, nor a loss of one probe in a
million as 0%.
"""

import math
import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, tzinfo
from fractions import Fraction
from typing import Final, Self

from wanwatch.core.account.calendar import Per, local_time
from wanwatch.core.account.figures import Figure
from wanwatch.core.account.period import Period
from wanwatch.core.cut_off import by_kind
from wanwatch.core.model import NS_PER_S, Bounds, Event
from wanwatch.report.manner import PLAIN, Manner
from wanwatch.report.words import NOTHING

_MINUTE_S, _HOUR_S, _DAY_S = 60, 3600, 86_400
_WHOLE_MS: Final = 100
_MOST_DECIMALS: Final = 6
_RATES: Final = (("Gbit/s", 10**9), ("Mbit/s", 10**6), ("kbit/s", 10**3), ("bit/s", 1))
_IN_TEXT: Final = re.compile(
    r"(?<![\w.-])(?:(?P<day>\d{4}-\d\d-\d\d)|(?P<share>-?\d+(?:\.\d+)?) ?%|(?P<number>-?\d+\.\d+))(?![\w-]|\.\d)"
)
"""A day, a share, or a number with decimals; none that is part of a name, an address or a version, or counts something
(RFC 7680 is no figure)."""


@dataclass(frozen=True, slots=True)
class Pen:
    """Writes figures and instants.

    Attributes:
        zone: In which instants are told.
        manner: How numbers and dates are written.
    """

    zone: tzinfo = UTC
    manner: Manner = PLAIN

    @classmethod
    def of(cls, locale: str | None, zone: tzinfo) -> Self:
        """Return the pen of a site: with the manner of its locale, or the plain one where it has none."""
        if locale is None:
            return cls(zone)
        from wanwatch.report.cldr import manner_of  # noqa: PLC0415 - who has no locale needs no library for it

        return cls(zone, manner_of(locale))

    def duration(self, length_ns: Fraction | int) -> str:
        """Say a length of time in two units at most: `0.4 s`, `12.5 s`, `3 min 5 s`, `2 h 7 min`, `3 d 4 h`."""
        if length_ns < 0:  # a clock that was stepped back
            return f"-{self.duration(-length_ns)}"
        seconds = float(length_ns) / NS_PER_S
        if seconds == 0:
            return "none"
        if seconds < _MINUTE_S - 0.05:
            return f"{self.decimal(max(seconds, 0.1), 1)} s"
        if seconds < _HOUR_S - 0.5:
            return _two_units(round(seconds), 60, "min", "s")
        if seconds < 2 * _DAY_S - 30:
            return _two_units(round(seconds / _MINUTE_S), 60, "h", "min")
        return _two_units(round(seconds / _HOUR_S), 24, "d", "h")

    def cut_off(self, event: Event) -> list[str]:
        """Say of a switch how long each kind of ordinary traffic was cut off, a clause each; [] if it is not known."""
        return by_kind(event, lambda length_s: self.duration(round(length_s * NS_PER_S)))

    def seconds(self, length_ns: int) -> str:
        """Say a length of time in seconds, rounded to the tenth as `duration` does."""
        return self._parts(round(Fraction(length_ns, 100_000_000)), 1)

    def milliseconds_of(self, ms: int) -> str:
        """Say a length of time in seconds, to the millisecond: `1 864.123 s`."""
        return f"{self._parts(ms, 3)} s"

    def _parts(self, parts: int, decimals: int) -> str:
        whole, rest = divmod(parts, 10**decimals)
        if self.manner is PLAIN:  # the only one that sets thousands apart in counts and not in figures
            return f"{self.count(whole)}.{rest:0{decimals}d}"
        return self.manner.number(f"{whole}.{rest:0{decimals}d}")

    def per_cent(self, ratio: Figure | None, decimals: int = 3) -> str:
        """Say a ratio in percent: rounded, with more decimals rather than reaching 0 or 100 unduly."""
        if ratio is None:
            return NOTHING
        scaled = ratio * 100
        for places in range(decimals, _MOST_DECIMALS + 1):
            text = f"{float(scaled):.{places}f}"
            if Fraction(text) not in {0, 100}:
                return self.manner.per_cent(text)
        if scaled in {0, 100}:
            return self.manner.per_cent(str(int(scaled)))
        bound, text = ("less", "0.000001") if scaled < 1 else ("more", "99.999999")
        return f"{bound} than {self.manner.per_cent(text)}"

    def milliseconds(self, figure_us: Figure | None) -> str:
        """Say a delay: three digits or the whole milliseconds, whichever is more."""
        if figure_us is None:
            return NOTHING
        if figure_us == math.inf:
            return "no answer"
        ms = float(figure_us) / 1000
        places = 0 if ms >= _WHOLE_MS else 1 if ms >= 10 else 2  # noqa: PLR2004 - three digits
        return f"{self.decimal(ms, places)} ms"

    def count(self, number: int) -> str:
        """Say a number with its thousands set apart."""
        return self.manner.whole(number)

    def decimal(self, figure: Figure, places: int) -> str:
        """Say a figure without a unit to so many decimals."""
        return self.manner.number(f"{float(figure):.{places}f}")

    def rate(self, bps: float | None) -> str:
        """Say a speed: four digits, in the unit that suits it."""
        if bps is None:
            return NOTHING
        unit, size = next(((unit, size) for unit, size in _RATES if bps >= size), _RATES[-1])
        return f"{self.manner.number(f'{bps / size:.4g}')} {unit}"

    def figures_in(self, text: str) -> str:
        """Rewrite the numbers, shares and days in one of our sentences; what is part of a word or an address stays."""
        return text if self.manner is PLAIN else _IN_TEXT.sub(self._rewritten, text)

    def _rewritten(self, found: re.Match[str]) -> str:
        if found["day"]:
            return self.manner.day_in_digits(date.fromisoformat(found["day"]))
        return self.manner.per_cent(found["share"]) if found["share"] else self.manner.number(found["number"])

    def instant(self, unix_ns: int) -> str:
        """Say an instant with its offset from UTC: `Tue 13 Oct 14:03:22 +01:00`."""
        shown = local_time(unix_ns, self.zone)
        return f"{self.manner.together(self.manner.weekday(shown), self.manner.time(shown))} {_offset(shown)}"

    def dated(self, unix_ns: int) -> str:
        """Say an instant with its year, for a paper that is kept: `2 November 2026, 09:00:00 +00:00`."""
        shown = local_time(unix_ns, self.zone)
        day, time = self.manner.day(shown), self.manner.time(shown)
        said = f"{day}, {time}" if self.manner is PLAIN else self.manner.together(day, time)
        return f"{said} {_offset(shown)}"

    def exactly(self, unix_ns: int) -> str:
        """Say an instant to the millisecond, cut: `2026-11-03 14:03:22.412 +00:00`."""
        shown = local_time(unix_ns, self.zone)
        offset = "UTC" if self.zone is UTC else _offset(shown)
        return f"{self.manner.together(self.manner.day_in_digits(shown), self.manner.time(shown, 3))} {offset}"

    def moment(self, unix_ns: int) -> str:
        """Say an instant to the minute, for a sentence: `Tue 13 Oct at 14:03`."""
        shown = local_time(unix_ns, self.zone)
        return f"{self.manner.weekday(shown)} at {self.manner.minute(shown)}"

    def clock(self, unix_ns: int) -> str:
        """Say the time of day to the tenth of a second, cut: `14:03:22.4`."""
        return self.manner.time(local_time(unix_ns, self.zone), 1)

    def bounds(self, found: Bounds) -> str:
        """Say between which times of day an instant lies."""
        return f"{self.clock(found.earliest_unix_ns)} to {self.clock(found.latest_unix_ns)}"

    def title(self, period: Period) -> str:
        """Say which period it is, as a heading does."""
        if self.manner is PLAIN or period.per in {Per.QUARTER, Per.YEAR}:
            return period.title
        if period.per is Per.MONTH:
            return self.manner.month(date(period.year, period.month, 1))
        last = local_time(period.span.end_unix_ns - 1, self.zone)
        return period.title.partition(" to ")[0] + f" to {self.manner.day(last)}"

    def month_in_short(self, name: str) -> str:
        """Say a month that is named as in `2026-10`."""
        return self.manner.month_in_short(date.fromisoformat(f"{name}-01"))


def _two_units(parts: int, in_whole: int, unit: str, part: str) -> str:
    whole, rest = divmod(parts, in_whole)
    return f"{whole} {unit} {rest} {part}" if rest else f"{whole} {unit}"


def _offset(shown: datetime) -> str:
    return shown.isoformat()[-6:]
