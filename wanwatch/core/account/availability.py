"""Availability, and the mean times that go with it.

Sources:     IEC 60050-192 and ITU-T E.800 (from memory): steady-state availability is mean up time over mean up
             plus mean down time; MTBF is the mean operating time between failures, MTTR the mean time to restoration.
Departures:  impaired time counts as available: the line answered. Unobserved time is in neither side of the ratio;
             what it could have done is told as two bounds beside it.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

from wanwatch.core.account.figures import Bounded
from wanwatch.core.account.spans import intersect, total_ns
from wanwatch.core.account.timeline import Timeline
from wanwatch.core.model import Span


@dataclass(frozen=True, slots=True, kw_only=True)
class Times:
    """How long each state held, in nanoseconds."""

    up_ns: int
    impaired_ns: int
    down_ns: int
    unobserved_ns: int

    @property
    def answering_ns(self) -> int:
        """Up or impaired."""
        return self.up_ns + self.impaired_ns

    @property
    def observed_ns(self) -> int:
        """Everything but unobserved."""
        return self.answering_ns + self.down_ns

    @property
    def period_ns(self) -> int:
        """All four together."""
        return self.observed_ns + self.unobserved_ns


@dataclass(frozen=True, slots=True, kw_only=True)
class MeanTimes:
    """Mean times in nanoseconds; None where there was no outage, for then there is nothing to average."""

    between_failures_ns: Fraction | None
    to_restoration_ns: Fraction | None


def times_in(states: Timeline, counted: Iterable[Span]) -> Times:
    """Return how long each state held within the *counted* time."""
    within = tuple(counted)
    return Times(
        up_ns=total_ns(intersect(states.up, within)),
        impaired_ns=total_ns(intersect(states.impaired, within)),
        down_ns=total_ns(intersect(states.down, within)),
        unobserved_ns=total_ns(intersect(states.unobserved, within)),
    )


def availability(times: Times) -> Bounded:
    """Return the share of observed time in which the line answered, a ratio in [0, 1].

    The bounds are the shares of the whole period if all unobserved time had been down, or up.
    """
    if times.period_ns == 0:
        return Bounded(value=None, low=None, high=None)
    return Bounded(
        value=Fraction(times.answering_ns, times.observed_ns) if times.observed_ns else None,
        low=Fraction(times.answering_ns, times.period_ns),
        high=Fraction(times.answering_ns + times.unobserved_ns, times.period_ns),
    )


def mean_times(times: Times, outages: int) -> MeanTimes:
    """Return MTBF and MTTR over the observed time, for this number of separate *outages*."""
    if outages == 0:
        return MeanTimes(between_failures_ns=None, to_restoration_ns=None)
    return MeanTimes(
        between_failures_ns=Fraction(times.answering_ns, outages),
        to_restoration_ns=Fraction(times.down_ns, outages),
    )


def allowance_ns(limit: Fraction, period_ns: int) -> Fraction:
    """Return how long a line may be down in a period and still keep an availability of *limit*."""
    return (1 - limit) * period_ns
