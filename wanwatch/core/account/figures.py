"""Exact figures: ratios as fractions, percentiles with infinite delays, and the bounds around both.

Contracts are judged on these, so nothing here is rounded. A figure is a `Fraction`; the one float allowed is
`math.inf`, the delay of a probe that got no answer (RFC 7679: an undefined delay sorts above every other).

Sources: NIST/SEMATECH e-Handbook 7.2.6.2 (percentile); RFC 2679 section 5 (undefined delays in a percentile, from
memory); RFC 7680 and RFC 6673 (loss ratio, from memory).
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from typing import Final, TypeAlias

Figure: TypeAlias = Fraction | float


@dataclass(frozen=True, slots=True, kw_only=True)
class Bounded:
    """A figure and the two ends between which unobserved time could move it.

    Attributes:
        value: What was observed; None where nothing was.
        low: The least that the whole period could come to; None where that cannot be told.
        high: The most; None where that cannot be told, `math.inf` where there is no upper end.
    """

    value: Figure | None
    low: Figure | None
    high: Figure | None


UNKNOWN: Final = Bounded(value=None, low=None, high=None)


@dataclass(frozen=True, slots=True)
class Ranked:
    """The delays of a set of probes, in order of size.

    Attributes:
        nth: The delay of the answered probe of this rank, from 1, in microseconds.
        answered: How many were answered.
        unanswered: How many were not: their delay is infinite.
    """

    nth: Callable[[int], int]
    answered: int
    unanswered: int

    @property
    def count(self) -> int:
        """How many probes were asked."""
        return self.answered + self.unanswered


def percentile(ranked: Ranked, share: Fraction, *, at_once: int = 0, never: int = 0) -> Figure | None:
    """Return the delay in microseconds that a *share* of the probes did not exceed.

    Args:
        ranked: The probes.
        share: In (0, 1).
        at_once: Suppose so many more probes, answered in no time.
        never: Suppose so many more probes, never answered.

    Returns:
        None without probes; `math.inf` where the percentile falls on unanswered ones.

    Source: NIST 7.2.6.2: with p(N + 1) = k + d, the value is Y[k] + d(Y[k+1] - Y[k]), held to Y[1] and Y[N].
    """
    count = ranked.count + at_once + never
    if count == 0:
        return None

    def delay(rank: int) -> int | float:
        if rank <= at_once:
            return 0
        within = rank - at_once
        return ranked.nth(within) if within <= ranked.answered else math.inf

    whole = share.denominator  # in whole numbers: a month hour by hour asks thirteen thousand times
    rank, part = divmod(share.numerator * (count + 1), whole)
    if not 0 < rank < count:
        rank, part = (1 if rank < 1 else count), 0
    below = delay(rank)
    above = delay(rank + 1) if part else below
    if isinstance(below, float) or isinstance(above, float):
        return above
    return Fraction(below * whole + part * (above - below), whole)


def delay_bounds(ranked: Ranked, share: Fraction, missing: int) -> Bounded:
    """Return a percentile of delay in microseconds, and what *missing* probes could have made of it."""
    return Bounded(
        value=percentile(ranked, share),
        low=percentile(ranked, share, at_once=missing),
        high=percentile(ranked, share, never=missing),
    )


def loss_ratio(unanswered: int, asked: int) -> Fraction | None:
    """Return the share of probes that got no answer; None without probes, for no evidence is not zero loss.

    Args:
        unanswered: Lost, late and malformed probes (RFC 7680).
        asked: Probes sent, without those that somebody refused: they were neither lost nor answered.
    """
    return Fraction(unanswered, asked) if asked else None


def loss_bounds(unanswered: int, asked: int, missing: int) -> Bounded:
    """Return the loss ratio, and what *missing* probes could have made of it."""
    return Bounded(
        value=loss_ratio(unanswered, asked),
        low=loss_ratio(unanswered, asked + missing),
        high=loss_ratio(unanswered + missing, asked + missing),
    )


def missing_probes(asked: int, answering_ns: int, unobserved_ns: int) -> int | None:
    """Return how many probes unobserved time would have held, at the rate of the observed; None if none was."""
    if unobserved_ns == 0:
        return 0
    return math.ceil(Fraction(asked * unobserved_ns, answering_ns)) if asked and answering_ns else None
