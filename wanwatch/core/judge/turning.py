"""Turning points: where in a run of probes a spell of bad ones began and ended.

Each bad probe counts for as much as the limit leaves to it, each good one against it by the limit, so that the sum
rises while more than the limit is bad. A spell is the stretch with the greatest sum: a stray loss long before the
trouble began, or after it was over, weighs less than the good probes between.

Sources: NIST/SEMATECH e-Handbook 6.3.2.3 (cumulative sums, with the limit as the reference value).
"""

from collections.abc import Iterable
from typing import NamedTuple


class Stretch(NamedTuple):
    """The places of a spell's first and last value."""

    first: int
    last: int


def spell(scores: Iterable[float]) -> Stretch | None:
    """Return the stretch of *scores* with the greatest sum, the earliest of them; None where no score is positive."""
    best, found = 0.0, None
    total, first = 0.0, 0
    for place, score in enumerate(scores):
        if total <= 0:
            total, first = 0.0, place
        total += score
        if total > best:
            best, found = total, Stretch(first, place)
    return found
