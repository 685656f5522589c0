"""Variation of delay, and runs of loss: each figure by its own standard and under its own name.

A stream of delays is in order of sending, with None for a probe that got no answer. Delays keep their unit, whatever
it is. These are the definitions, probe by probe; a month's report reckons the same over whole arrays.

Sources:     RFC 3393 (IPDV), RFC 5481 (IPDV and PDV; from memory); RFC 3550 section 6.4.1 and appendix A.8 (jitter);
             RFC 3357 (loss distance and loss period; from memory).
Departures:  RFC 3550's transit is one-way; ours is the round trip's, so the jitter of both ways is in it.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby, pairwise
from typing import Final, TypeAlias

Delays: TypeAlias = Sequence[float | None]

JITTER_SHARE: Final = 1 / 16
"""How much of each new difference goes into the jitter (RFC 3550 section 6.4.1)."""


def ipdv(delays: Delays) -> list[float | None]:
    """Return each probe's delay less that of the probe before it; None unless both were answered.

    Source: RFC 3393, with consecutive probes as the selected pairs; the first of a stream has none before it.
    """
    differences = [None if a is None or b is None else b - a for a, b in pairwise(delays)]
    return [None, *differences] if delays else []


def pdv(delays: Delays) -> list[float | None]:
    """Return how far each delay lies above the least of the stream; None for an unanswered probe (RFC 5481)."""
    least = min((delay for delay in delays if delay is not None), default=0)
    return [None if delay is None else delay - least for delay in delays]


def interarrival_jitter(transits: Iterable[float]) -> list[float]:
    """Return the running jitter after each arrival, from the transits of those that arrived, in order of arrival.

    It is a filter of the differences' sizes, not a mean, a deviation or a range of delay.

    Source: RFC 3550 section 6.4.1: J += (|D| - J) / 16, from 0.
    """
    jitter, before, told = 0.0, None, []
    for transit in transits:
        if before is not None:
            jitter += (abs(transit - before) - jitter) * JITTER_SHARE
        before = transit
        told.append(jitter)
    return told


def scaled_jitter(scaled: int, difference: int) -> int:
    """Return the running jitter, scaled by 16, after one more difference of transits; `>> 4` gives the jitter.

    Source: RFC 3550 appendix A.8, the form in whole numbers, rounded to nearest.
    """
    return scaled + abs(difference) - ((scaled + 8) >> 4)


def loss_distances(lost: Sequence[bool]) -> list[int]:
    """Return, for each lost probe, how many probes ago the last one was lost; 0 for the first and for all others.

    Source: RFC 3357, Type-P-One-Way-Loss-Distance-Stream.
    """
    last, distances = None, []
    for number, missing in enumerate(lost):
        distances.append(number - last if missing and last is not None else 0)
        last = number if missing else last
    return distances


def loss_periods(lost: Sequence[bool]) -> list[int]:
    """Return, for each lost probe, which run of losses it belongs to, from 1; 0 for all others.

    Source: RFC 3357, Type-P-One-Way-Loss-Period-Stream.
    """
    period, before, periods = 0, False, []
    for missing in lost:
        period += missing and not before
        periods.append(period if missing else 0)
        before = missing
    return periods


def period_lengths(lost: Sequence[bool]) -> list[int]:
    """Return the length of each run of losses, in probes (RFC 3357, Loss-Period-Lengths)."""
    return [len(list(run)) for missing, run in groupby(lost) if missing]


def inter_loss_period_lengths(lost: Sequence[bool]) -> list[int]:
    """Return how far each run of losses begins after the last loss of the run before; 0 for the first.

    Source: RFC 3357, Type-P-One-Way-Inter-Loss-Period-Lengths.
    """
    begins = [missing and (number == 0 or not lost[number - 1]) for number, missing in enumerate(lost)]
    return [distance for distance, begun in zip(loss_distances(lost), begins, strict=True) if begun]


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


def loss_runs(lengths: Sequence[int]) -> LossRuns:
    """Return what runs of these *lengths* come to."""
    return LossRuns(len(lengths), max(lengths, default=0), sum(lengths))
