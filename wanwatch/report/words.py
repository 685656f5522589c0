"""Words: figures and instants as people read them. Every text of a report that is not a heading is made here.

Nothing is rounded to a bound that it has not reached: 99.996% is never printed as 100%, nor a loss of one probe in a
million as 0%.
"""

import math
from collections.abc import Callable, Mapping
from datetime import tzinfo
from fractions import Fraction
from typing import Final

from wanwatch.core.account.availability import allowance_ns
from wanwatch.core.account.calendar import local_time
from wanwatch.core.account.clauses import Because
from wanwatch.core.account.figures import Figure
from wanwatch.core.cut_off import by_kind
from wanwatch.core.model import NS_PER_S, Bounds, Domain, Event
from wanwatch.core.resolving import Sign
from wanwatch.report.values import ClauseResult

NOTHING: Final = "—"
_MINUTE_S, _HOUR_S, _DAY_S = 60, 3600, 86_400
_WHOLE_MS: Final = 100
_MOST_DECIMALS: Final = 6

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


def limit_value(clause: ClauseResult, figure: Figure | None) -> str:
    """Say a clause's figure in the unit of its measure."""
    if clause.promise.measure in {"delay", "delay-variation"}:
        return milliseconds(figure * 1_000_000 if isinstance(figure, Fraction) else figure)
    return per_cent(figure) if clause.promise.measure in {"availability", "loss"} else NOTHING


def reason(clause: ClauseResult) -> str:
    """Say why a verdict is what it is, in one or two sentences."""
    return _REASONS[clause.ruling.because](clause)


def _holds(clause: ClauseResult) -> str:
    if clause.times.unobserved_ns == 0:
        return "All of the time was observed."
    return f"Kept even if all {duration(clause.times.unobserved_ns)} of unobserved time had gone badly."


def _fails(clause: ClauseResult) -> str:
    if clause.times.unobserved_ns == 0:
        return "All of the time was observed."
    if clause.to_come_ns:
        return "Already missed, whatever the rest of the month brings."
    return f"Missed even if all {duration(clause.times.unobserved_ns)} of unobserved time had gone well."


def _running(clause: ClauseResult) -> str:
    kept = clause.promise.kept_by(clause.found.value)
    so_far = "Kept so far" if kept else "Missed so far"
    if clause.promise.measure != "availability":
        return f"{so_far}; {duration(clause.to_come_ns)} are still to come."
    return f"{so_far}: {_allowance(clause)}; {duration(clause.to_come_ns)} are still to come."


def _allowance(clause: ClauseResult) -> str:
    allowed = allowance_ns(clause.promise.limit or Fraction(1), clause.times.period_ns)
    return f"down for {duration(clause.times.down_ns)} of the {duration(allowed)} that the month allows"


def _could_tip(clause: ClauseResult) -> str:
    kept = "keeps" if clause.promise.kept_by(clause.found.value) else "misses"
    gap = duration(clause.times.unobserved_ns)
    return f"What was observed {kept} the limit, but {gap} went unobserved, enough to turn it either way."


_REASONS: Final[Mapping[Because, Callable[[ClauseResult], str]]] = {
    Because.HOLDS_ANYWAY: _holds,
    Because.FAILS_ANYWAY: _fails,
    Because.STILL_RUNNING: _running,
    Because.COULD_TIP: _could_tip,
    Because.NOTHING_SEEN: lambda _: "Nothing was observed of it.",
    Because.NOT_MEASURED: lambda clause: f"This version does not measure {clause.promise.measure}.",
    Because.RAW_GONE: lambda _: "The single round-trip times of that time are no longer kept.",
    Because.NOT_IN_FORCE: lambda _: "The contract was not in force, or all of the time is counted out.",
}


def sign(found: Sign | None) -> str:
    """Say whether something is so: `yes`, `no`, `no verdict`, or that it was not asked."""
    return "not asked" if found is None else "no verdict" if found is Sign.UNDECIDED else found.value
