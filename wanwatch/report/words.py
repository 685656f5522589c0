"""Words: figures and instants as people read them. Every text of a report that is not a heading is made here.

Nothing is rounded to a bound that it has not reached: 99.996% is never printed as 100%, nor a loss of one probe in a
million as 0%.
"""

import math
from collections.abc import Mapping
from datetime import tzinfo
from fractions import Fraction
from typing import Final

from wanwatch.core.account.calendar import local_time
from wanwatch.core.account.figures import Figure
from wanwatch.core.cut_off import by_kind
from wanwatch.core.model import NS_PER_S, Bounds, Domain, Event
from wanwatch.core.resolving import Sign

NOTHING: Final = "—"
_MINUTE_S, _HOUR_S, _DAY_S = 60, 3600, 86_400
_WHOLE_MS: Final = 100
_MOST_DECIMALS: Final = 6
_RATES: Final = (("Gbit/s", 10**9), ("Mbit/s", 10**6), ("kbit/s", 10**3), ("bit/s", 1))

WHERE: Final[Mapping[Domain, str]] = {
    Domain.OUR_SIDE: "our own side",
    Domain.GATEWAY: "the gateway",
    Domain.ACCESS_LINE: "the access line",
    Domain.PROVIDER: "the provider's network",
    Domain.FAR_END: "the far end",
    Domain.NAMES: "names",
}
"""Where it broke, as a table names it."""

PLACE: Final[Mapping[Domain, str]] = {
    Domain.OUR_SIDE: "on your own side",
    Domain.GATEWAY: "at the gateway",
    Domain.ACCESS_LINE: "on the access line",
    Domain.PROVIDER: "in the provider's network",
    Domain.FAR_END: "at the far end",
    Domain.NAMES: "with names",
}
"""Where it broke, as a sentence says it."""


def duration(length_ns: Fraction | int) -> str:
    """Say a length of time in two units at most: `0.4 s`, `12.5 s`, `3 min 5 s`, `2 h 7 min`, `3 d 4 h`."""
    if length_ns < 0:  # a clock that was stepped back
        return f"-{duration(-length_ns)}"
    seconds = float(length_ns) / NS_PER_S
    if seconds == 0:
        return "none"
    if seconds < _MINUTE_S - 0.05:
        return f"{max(seconds, 0.1):.1f} s"
    if seconds < _HOUR_S - 0.5:
        return _two_units(round(seconds), 60, "min", "s")
    if seconds < 2 * _DAY_S - 30:
        return _two_units(round(seconds / _MINUTE_S), 60, "h", "min")
    return _two_units(round(seconds / _HOUR_S), 24, "d", "h")


def cut_off(event: Event) -> list[str]:
    """Say of a switch how long each kind of ordinary traffic was cut off, a clause each; [] where it is not known."""
    return by_kind(event, lambda length_s: duration(round(length_s * NS_PER_S)))


def _two_units(parts: int, in_whole: int, unit: str, part: str) -> str:
    whole, rest = divmod(parts, in_whole)
    return f"{whole} {unit} {rest} {part}" if rest else f"{whole} {unit}"


def seconds(length_ns: int) -> str:
    """Say a length of time in seconds, to the tenth."""
    whole, tenths = divmod(length_ns // 100_000_000, 10)
    return f"{count(whole)}.{tenths}"


def per_cent(ratio: Figure | None, decimals: int = 3) -> str:
    """Say a ratio in percent: rounded, with more decimals rather than reaching 0 or 100 unduly."""
    if ratio is None:
        return NOTHING
    scaled = ratio * 100
    for places in range(decimals, _MOST_DECIMALS + 1):
        text = f"{float(scaled):.{places}f}"
        if Fraction(text) not in {0, 100}:
            return f"{text}%"
    if scaled in {0, 100}:
        return f"{int(scaled)}%"
    return "less than 0.000001%" if scaled < 1 else "more than 99.999999%"


def milliseconds(figure_us: Figure | None) -> str:
    """Say a delay: three digits or the whole milliseconds, whichever is more."""
    if figure_us is None:
        return NOTHING
    if figure_us == math.inf:
        return "no answer"
    ms = float(figure_us) / 1000
    if ms >= _WHOLE_MS:
        return f"{ms:.0f} ms"
    return f"{ms:.1f} ms" if ms >= 10 else f"{ms:.2f} ms"  # noqa: PLR2004 - three digits


def count(number: int) -> str:
    """Say a number with narrow spaces between thousands (ISO 80000-1)."""
    return f"{number:,}".replace(",", "\u202f")


def decimal(figure: Figure, places: int) -> str:
    """Say a figure without a unit to so many decimals."""
    return f"{float(figure):.{places}f}"


def instant(unix_ns: int, zone: tzinfo) -> str:
    """Say an instant in the site's zone with its offset from UTC: `Tue 13 Oct 14:03:22 +01:00`."""
    shown = local_time(unix_ns, zone)
    return f"{shown:%a} {shown.day} {shown:%b %H:%M:%S} {_offset(shown.isoformat())}"


def moment(unix_ns: int, zone: tzinfo) -> str:
    """Say an instant to the minute, for a sentence: `Tue 13 Oct at 14:03`."""
    shown = local_time(unix_ns, zone)
    return f"{shown:%a} {shown.day} {shown:%b at %H:%M}"


def clock(unix_ns: int, zone: tzinfo) -> str:
    """Say the time of day to the tenth of a second, cut: `14:03:22.4`."""
    shown = local_time(unix_ns, zone)
    return f"{shown:%H:%M:%S}.{shown.microsecond // 100_000}"


def bounds(found: Bounds, zone: tzinfo) -> str:
    """Say between which times of day an instant lies."""
    return f"{clock(found.earliest_unix_ns, zone)} to {clock(found.latest_unix_ns, zone)}"


def _offset(isoformat: str) -> str:
    return isoformat[-6:]


def sign(found: Sign | None) -> str:
    """Say whether something is so: `yes`, `no`, `no verdict`, or that it was not asked."""
    return "not asked" if found is None else "no verdict" if found is Sign.UNDECIDED else found.value


def rate(bps: float | None) -> str:
    """Say a speed: four digits, in the unit that suits it."""
    if bps is None:
        return NOTHING
    unit, size = next(((unit, size) for unit, size in _RATES if bps >= size), _RATES[-1])
    return f"{bps / size:.4g} {unit}"
