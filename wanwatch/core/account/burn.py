"""Burn: how fast a line uses up the downtime that its contract allows.

A burn rate of 1 uses exactly the allowance of a period by its end.

Source: Google, The Site Reliability Workbook (2018), chapter 5: rates over a long window, confirmed by a short one.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from wanwatch.core.model import NS_PER_S

_MINUTE_NS: Final = 60 * NS_PER_S
_HOUR_NS: Final = 60 * _MINUTE_NS
_DAY_NS: Final = 24 * _HOUR_NS


@dataclass(frozen=True, slots=True)
class Alarm:
    """A burn rate that is worth a word, if it holds over both windows.

    Attributes:
        urgent: Whether it should wake somebody.
        long_ns: The window that it is measured over.
        short_ns: A twelfth of it: whether it still goes on.
        rate: How many times faster than allowed.
    """

    urgent: bool
    long_ns: int
    short_ns: int
    rate: Fraction


ALARMS: Final = (
    Alarm(urgent=True, long_ns=_HOUR_NS, short_ns=5 * _MINUTE_NS, rate=Fraction("14.4")),
    Alarm(urgent=True, long_ns=6 * _HOUR_NS, short_ns=30 * _MINUTE_NS, rate=Fraction(6)),
    Alarm(urgent=False, long_ns=3 * _DAY_NS, short_ns=6 * _HOUR_NS, rate=Fraction(1)),
)
WINDOWS_NS: Final = tuple(sorted({ns for alarm in ALARMS for ns in (alarm.short_ns, alarm.long_ns)}))


def burn_rate(down_ns: int, observed_ns: int, limit: Fraction) -> Fraction | None:
    """Return how many times faster than allowed downtime came in a window; None where nothing is allowed or seen."""
    if observed_ns == 0 or limit == 1:
        return None
    return Fraction(down_ns, observed_ns) / (1 - limit)


def alarms(rates: Mapping[int, Fraction | None]) -> tuple[Alarm, ...]:
    """Return the alarms that the burn rates of the windows (by length in nanoseconds) amount to."""

    def burns(window_ns: int, alarm: Alarm) -> bool:
        rate = rates.get(window_ns)
        return rate is not None and rate >= alarm.rate

    return tuple(alarm for alarm in ALARMS if burns(alarm.long_ns, alarm) and burns(alarm.short_ns, alarm))
