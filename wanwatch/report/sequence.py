"""Sequence: what a series of probes tells by its order: steps between neighbours, jitter, and runs of loss.

Sources:     RFC 3393 (IPDV), RFC 3550 section 6.4.1 (jitter), RFC 3357 (loss periods; from memory).
Departures:  probes are in order of sending and not of arrival. No pair and no run reaches over a time that does not
             count. A refused probe is neither answered nor lost: it ends a run and is in no pair.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Final, TypeAlias

import numpy as np
import numpy.typing as npt

from wanwatch.core.account.percentile import percentile
from wanwatch.core.account.variation import JITTER_SHARE, LossRuns
from wanwatch.core.ports import MARK_REFUSED, RTT_LIMIT

Whole: TypeAlias = npt.NDArray[np.int64]
Real: TypeAlias = npt.NDArray[np.float64]
Words: TypeAlias = npt.NDArray[np.uint32]

_MINUTE_US: Final = 60_000_000
_KEPT: Final = 1 - JITTER_SHARE
_AT_ONCE: Final = 4096
"""So many steps of the filter at once: (16/15)^4096 is 1e115, well within a float."""


_BATCH: Final = 50_000
"""An hour's arrays are small; handled by so many samples, they cost a third of the time."""


@dataclass(slots=True)
class Walk:
    """Follows one series through the time that counts.

    Attributes:
        asked: Whether there was any probe at all.
        steps_us: The sizes of the differences between answered neighbours, added up.
        pairs: How many neighbours were both answered.
        readings: The running jitter in microseconds, as it stood after the last answered probe of each minute.
        lengths: The lengths of the runs of loss.
    """

    asked: bool = False
    steps_us: int = 0
    pairs: int = 0
    readings: list[Real] = field(default_factory=list)
    lengths: list[Whole] = field(default_factory=list)
    _waiting: list[tuple[Whole, Whole, Words]] = field(default_factory=list)
    _count: int = 0
    _last: Whole = field(default_factory=lambda: np.empty((2, 0), np.int64))
    _last_answered: Whole = field(default_factory=lambda: np.empty((2, 0), np.int64))
    _jitter_us: float = 0.0
    _open: tuple[int, int] = (0, 0)

    def take(self, stretches: Whole, sent_us: Whole, rtts: Words) -> None:
        """Take probes that were sent, in order of sending.

        Args:
            stretches: In which stretch of time without a gap each was sent: equal numbers for one stretch.
            sent_us: When each was sent, Unix microseconds.
            rtts: Its round-trip time in microseconds, or its mark.
        """
        self._waiting.append((stretches, sent_us, rtts))
        self._count += len(rtts)
        if self._count >= _BATCH:
            self._walk()

    def done(self) -> "Walk":
        """End the walk, and return it."""
        self._walk()
        self.lengths.append(np.array([self._open[1]] if self._open[1] else [], np.int64))
        return self

    def _walk(self) -> None:
        if self._count == 0:
            return
        stretches, sent_us, rtts = (np.concatenate(column) for column in zip(*self._waiting, strict=True))
        self._waiting, self._count, self.asked = [], 0, True
        answered = rtts < RTT_LIMIT
        now = np.stack([stretches, rtts.astype(np.int64)])
        self._step(np.concatenate([self._last, now], axis=1))
        self._filter(np.concatenate([self._last_answered, now[:, answered]], axis=1), sent_us[answered])
        self._run(stretches, ~answered & (rtts != MARK_REFUSED))
        self._last = now[:, -1:]

    def _step(self, probes: Whole) -> None:
        """Add up the differences of neighbours that were both answered."""
        stretches, rtts = probes
        answered = rtts < RTT_LIMIT
        pairs = answered[1:] & answered[:-1] & (stretches[1:] == stretches[:-1])
        self.steps_us += int(np.abs(np.diff(rtts))[pairs].sum())
        self.pairs += int(np.count_nonzero(pairs))

    def _filter(self, arrivals: Whole, sent_us: Whole) -> None:
        """Carry the running jitter on, and read it at the end of each minute."""
        self._last_answered = arrivals[:, -1:]
        stretches, rtts = arrivals
        pairs = stretches[1:] == stretches[:-1]
        jitter = self._running(np.abs(np.diff(rtts))[pairs].astype(np.float64))
        minutes = sent_us[len(sent_us) - len(pairs) :][pairs] // _MINUTE_US
        if len(jitter):
            self._jitter_us = float(jitter[-1])
            self.readings.append(jitter[np.append(minutes[1:] != minutes[:-1], True)])

    def _running(self, steps: Real) -> Real:
        """Return the jitter after each step, from J[n] = k^n (J[0] + sum of step[i] / 16 k^-i), with k = 15/16."""
        powers = _KEPT ** np.arange(1, min(len(steps), _AT_ONCE) + 1)
        jitter, before = np.empty_like(steps), self._jitter_us
        for begin in range(0, len(steps), _AT_ONCE):
            part = steps[begin : begin + _AT_ONCE]
            k = powers[: len(part)]
            jitter[begin : begin + len(part)] = k * (before + np.cumsum(part * JITTER_SHARE / k))
            before = float(jitter[begin + len(part) - 1])
        return jitter

    def _run(self, stretches: Whole, lost: npt.NDArray[np.bool_]) -> None:
        """Note the length of each run of loss; one that reaches the end stays open, for it may go on."""
        joined = lost[1:] & lost[:-1] & (stretches[1:] == stretches[:-1])
        starts = np.flatnonzero(lost & ~np.append(False, joined))
        ends = np.flatnonzero(lost & ~np.append(joined, False))
        lengths = ends - starts + 1
        stretch, length = self._open
        if length and lost[0] and stretches[0] == stretch:
            lengths[0] += length
        elif length:
            lengths = np.append(length, lengths)
        closed = len(lengths) - int(lost[-1])
        self._open = int(stretches[-1]), int(lengths[closed:].sum())
        self.lengths.append(lengths[:closed])


@dataclass(frozen=True, slots=True)
class InOrder:
    """What the order of a target's probes tells.

    Attributes:
        ipdv_us: Mean size of the difference between neighbours, in microseconds; None without two answered neighbours.
        jitter_us: Median over the minutes of the running jitter; None likewise.
        runs: The runs of loss; None without probes, for then it is not known that there were none.
    """

    ipdv_us: Fraction | None
    jitter_us: float | None
    runs: LossRuns | None


def in_order(walks: Iterable[Walk]) -> InOrder:
    """Return what the walks of one target come to; they are over then."""
    done = [walk.done() for walk in walks]
    asked, pairs = any(walk.asked for walk in done), sum(walk.pairs for walk in done)
    readings = np.sort(np.concatenate([np.empty(0), *(part for walk in done for part in walk.readings)]))
    lengths = np.concatenate([np.empty(0, np.int64), *(part for walk in done for part in walk.lengths)])
    return InOrder(
        ipdv_us=Fraction(sum(walk.steps_us for walk in done), pairs) if pairs else None,
        jitter_us=percentile(readings.tolist(), 0.5),
        runs=LossRuns(len(lengths), int(lengths.max(initial=0)), int(lengths.sum())) if asked else None,
    )
