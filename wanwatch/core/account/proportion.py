"""Proportion: what so many successes in so many trials say of the share that they are drawn from.

Sources:     C. J. Clopper and E. S. Pearson, "The Use of Confidence or Fiducial Limits Illustrated in the Case of the
             Binomial" (Biometrika 26, 1934): exact limits; NIST/SEMATECH e-Handbook 7.2.4.1 uses them for few trials.
Departures:  none. Decisions are made in whole numbers; only the limits that are shown are floating-point.
"""

from bisect import bisect_left
from collections.abc import Callable
from enum import StrEnum
from fractions import Fraction
from math import comb, exp, lgamma, log, log1p
from typing import Final, NamedTuple

CONFIDENCE: Final = Fraction(95, 100)
MOST_TRIALS: Final = 10_000
"""Beyond so many further trials nobody waits for an answer."""


class Said(StrEnum):
    """What trials say of a share that was promised."""

    REACHED = "reached"
    MISSED = "missed"
    OPEN = "open"


class Limits(NamedTuple):
    """One-sided limits of a share: it is at least `low`, or at most `high`, each with the confidence asked for."""

    low: float
    high: float


def at_least(successes: int, trials: int, share: Fraction) -> Fraction:
    """Return the exact chance of *successes* or more in *trials* where each succeeds with the chance *share*."""
    if successes > trials - successes:  # the shorter tail has fewer numbers of thousands of digits
        return _at_least(successes, trials, share)
    return 1 - _at_least(trials - successes + 1, trials, 1 - share)


def _at_least(successes: int, trials: int, share: Fraction) -> Fraction:
    won, lost, whole = share.numerator, share.denominator - share.numerator, share.denominator
    ways = sum(comb(trials, k) * won**k * lost ** (trials - k) for k in range(successes, trials + 1))
    return Fraction(ways, whole**trials)


def decide(successes: int, trials: int, share: Fraction, confidence: Fraction = CONFIDENCE) -> Said:
    """Decide by an exact binomial test whether successes are drawn from a share of at least *share*.

    `REACHED`: so many successes would be a surprise if the share were smaller. `MISSED`: so few would be one if it were
    reached. Anything else is `OPEN`, as is a share of all where nothing failed: no number of trials proves "always".
    """
    doubt = 1 - confidence
    if share == 1:
        return Said.MISSED if successes < trials else Said.OPEN
    if trials and at_least(successes, trials, share) < doubt:
        return Said.REACHED
    return Said.MISSED if trials and 1 - at_least(successes + 1, trials, share) < doubt else Said.OPEN


def still_needed(successes: int, trials: int, share: Fraction, confidence: Fraction = CONFIDENCE) -> int | None:
    """Return how many further trials decide if all of them go the way that most went; None if no number does.

    That is the least number: a mixed course takes more.
    """
    well = trials == 0 or Fraction(successes, trials) >= share
    if share == 1 and well:
        return None

    def decided(more: int) -> bool:
        return decide(successes + (more if well else 0), trials + more, share, confidence) is not Said.OPEN

    enough = 1
    while not decided(enough):
        if enough == MOST_TRIALS:
            return None
        enough = min(2 * enough, MOST_TRIALS)
    return bisect_left(range(enough), 1, key=decided)  # what decides once decides ever after


def limits(successes: int, trials: int, confidence: Fraction = CONFIDENCE) -> Limits:
    """Return the exact one-sided limits of the share; (0, 1) without trials."""
    doubt = float(1 - confidence)
    low = 0.0 if successes == 0 else _root(lambda p: _tail(successes, trials, p) - doubt)
    high = 1.0 if successes == trials else _root(lambda p: _tail(successes + 1, trials, p) - (1 - doubt))
    return Limits(low, high)


def _tail(successes: int, trials: int, share: float) -> float:
    """The chance of *successes* or more, by logarithms: powers of thousands of trials leave a float's range."""
    every = lgamma(trials + 1)
    return sum(
        exp(every - lgamma(k + 1) - lgamma(trials - k + 1) + k * log(share) + (trials - k) * log1p(-share))
        for k in range(successes, trials + 1)
    )


def _root(rising: Callable[[float], float]) -> float:
    """Where a rising function of a share crosses nought; halving sixty times leaves less than a float can tell."""
    low, high = 0.0, 1.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if rising(middle) < 0 else (low, middle)
    return (low + high) / 2
