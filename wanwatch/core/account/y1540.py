"""Y.1540: availability by the loss in intervals of fixed length, as the Recommendation defines it.

An interval is unavailable if more than a share of its packets was lost. This is another reckoning than that of the
judge's states, and stands beside it under its own name.

Source:      ITU-T Y.1540, clause "IP service availability" (thresholds and intervals of its editions from memory).
Departures:  the Recommendation speaks of one pair of measurement points, that is, of one target. A line is unavailable
             in an interval if it is towards each of its targets: one dead target is not the line's trouble.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from typing import Final, NamedTuple


@dataclass(frozen=True, slots=True)
class Edition:
    """An edition's numbers.

    Attributes:
        c1: An interval is unavailable if its loss ratio is above this.
        minutes: The interval's length, T_av.
        least: With fewer packets nothing is decided, M_av.
    """

    c1: Fraction
    minutes: int
    least: int


EDITIONS: Final = {
    "2002": Edition(Fraction(3, 4), 5, least=50),
    "2016": Edition(Fraction(1, 5), 1, least=10),
}
"""By the year from which they hold; the least numbers are ours: chance alone must not pass the threshold."""
USUAL_EDITION: Final = EDITIONS["2016"]


class Minute(NamedTuple):
    """What was sent to one target in one minute (Unix seconds // 60), and how much of it was lost."""

    target: str
    minute: int
    sent: int
    lost: int


@dataclass(frozen=True, slots=True)
class Intervals:
    """How many intervals were what; undecided ones are in neither share."""

    available: int
    unavailable: int

    @property
    def percent_available(self) -> Fraction | None:
        """PIA, as a ratio in [0, 1]; None where nothing was decided."""
        decided = self.available + self.unavailable
        return Fraction(self.available, decided) if decided else None


def intervals(minutes: Iterable[Minute], edition: Edition) -> Intervals:
    """Count the intervals of a line, from its targets' minutes in any order."""
    sums: dict[tuple[int, str], list[int]] = defaultdict(lambda: [0, 0])
    for seen in minutes:
        one = sums[seen.minute // edition.minutes, seen.target]
        one[0] += seen.sent
        one[1] += seen.lost
    ways: dict[int, bool] = {}
    for (interval, _), (sent, lost) in sums.items():
        if sent >= edition.least:
            kept = lost * edition.c1.denominator <= sent * edition.c1.numerator  # a month has too many for Fractions
            ways[interval] = ways.get(interval, False) or kept
    return Intervals(sum(ways.values()), len(ways) - sum(ways.values()))
