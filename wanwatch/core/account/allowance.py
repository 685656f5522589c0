"""Allowance: how much downtime a promise of availability leaves, and how fast it is being used up.

A pure value for whoever asks: a report at the end of a period, metrics and status while it runs.

Source: Google, The Site Reliability Workbook (2018), chapter 5, as in `burn`.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from wanwatch.core.account.availability import Times, allowance_ns, times_in
from wanwatch.core.account.burn import WINDOWS_NS, Alarm, alarms, burn_rate
from wanwatch.core.account.timeline import Timeline
from wanwatch.core.model import Span


@dataclass(frozen=True, slots=True, kw_only=True)
class Allowance:
    """The downtime of one promise over one period.

    Attributes:
        limit: The availability that is promised, a ratio.
        allowed_ns: How long the line may be down in the time that counts, what is still to come included.
        used_ns: How long it was.
        rates: Burn rates of the line itself, what a contract counts out included, by the length of the window before
            now; None where nothing was observed in it, it reaches back beyond what is known, or nothing is allowed. A
            rate of 1 uses the allowance up just at the period's end.
    """

    limit: Fraction
    allowed_ns: Fraction
    used_ns: int
    rates: Mapping[int, Fraction | None]

    @property
    def left_ns(self) -> Fraction:
        """What is left; less than nothing where it is overdrawn."""
        return self.allowed_ns - self.used_ns

    @property
    def alarms(self) -> tuple[Alarm, ...]:
        """What the rates amount to."""
        return alarms(self.rates)


def allowance(limit: Fraction, times: Times, states: Timeline, now_unix_ns: int) -> Allowance:
    """Return the allowance of a promise.

    Args:
        limit: The availability that is promised, a ratio.
        times: The states of the time that counts for the promise.
        states: The line's states; from three days before now on if the longest window is to have a rate.
        now_unix_ns: Where the windows end.
    """
    return Allowance(
        limit=limit,
        allowed_ns=allowance_ns(limit, times.period_ns),
        used_ns=times.down_ns,
        rates={window_ns: _rate(limit, states, Span(now_unix_ns - window_ns, now_unix_ns)) for window_ns in WINDOWS_NS},
    )


def _rate(limit: Fraction, states: Timeline, window: Span) -> Fraction | None:
    times = times_in(states, [window])
    return burn_rate(times.down_ns, times.observed_ns, limit) if times.period_ns == window.length_ns else None
