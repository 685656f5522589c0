"""Variation of delay, and runs of loss: what a month's report and the live figures have in common.

Sources:     RFC 3550 section 6.4.1 and appendix A.8 (jitter); RFC 3357 (loss periods; from memory).
Departures:  RFC 3550's transit is one-way; ours is the round trip's, so the jitter of both ways is in it.
"""

from dataclasses import dataclass
from fractions import Fraction
from typing import Final

JITTER_SHARE: Final = 1 / 16
"""How much of each new difference goes into the jitter (RFC 3550 section 6.4.1)."""


def scaled_jitter(scaled: int, difference: int) -> int:
    """Return the running jitter, scaled by 16, after one more difference of transits; `>> 4` gives the jitter.

    Source: RFC 3550 appendix A.8, the form in whole numbers, rounded to nearest.
    """
    return scaled + abs(difference) - ((scaled + 8) >> 4)


@dataclass(frozen=True, slots=True)
class LossRuns:
    """The runs of losses of a stream.

    Attributes:
        runs: How many there are.
        longest: The length of the longest, in probes; 0 without any.
        lost: How many probes they hold together.
    """

    runs: int
    longest: int
    lost: int

    @property
    def mean_length(self) -> Fraction | None:
        """The mean length of a run, in probes; None without any."""
        return Fraction(self.lost, self.runs) if self.runs else None
