"""Y.1540: availability by the loss in intervals of fixed length, as the Recommendation defines it.

An interval is unavailable if more than a share of its packets was lost. This is another reckoning than that of the
judge's states, and stands beside it under its own name.

Source:      ITU-T Y.1540, clause "IP service availability" (thresholds and intervals of its editions from memory).
Departures:  the Recommendation speaks of one pair of measurement points, that is, of one target. A line is unavailable
             in an interval if it is towards each of its targets: one dead target is not the line's trouble.
"""

from dataclasses import dataclass
from fractions import Fraction
from typing import Final


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
