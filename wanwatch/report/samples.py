"""Samples of one target: the probes that lie in the time that counts, to exact figures.

Sixteen million samples a month go through here, so the rows of an hour are handed to numpy together, and of each probe
no more is kept than somebody wants to know: nothing where counts are enough, else its round-trip time, 4 bytes.

Source: see `core.account.figures` for the rules; `Ranked` hands numpy's sorted array to them.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from enum import Flag
from fractions import Fraction
from functools import cached_property
from typing import Final

import numpy as np
import numpy.typing as npt

from wanwatch.core.account.figures import Figure, Ranked, loss_ratio, percentile
from wanwatch.core.model import Series, Span
from wanwatch.core.ports import MARK_NOT_SENT, MARK_REFUSED, RTT_LIMIT, HourMinutes
from wanwatch.report.sequence import InOrder, Walk, Whole, Words, in_order

_WORD: Final = np.dtype("<u4")
_MINUTE_US: Final = 60_000_000
_HOUR_US: Final = 60 * _MINUTE_US
_BAND: Final = (Fraction(5, 100), Fraction(1, 2), Fraction(95, 100))


class Want(Flag):
    """What is wanted of single probes; the counts of what was asked and missed are always told."""

    COUNTS = 0
    DELAYS = 0b001
    """Their round-trip times in order of size."""
    VARIATION = 0b011
    """And how far each of these lies above the least of its hour."""
    ORDER = 0b111
    """And all of that hour by hour, and what the order of probes tells."""


@dataclass(frozen=True, slots=True)
class Hour:
    """One hour of a series, by the clock of UTC.

    Attributes:
        start_unix_ns: When it began.
        p5_us: 5th percentile of delay in microseconds; None where nothing was asked, `math.inf` for unanswered.
        p50_us: Median.
        p95_us: 95th percentile.
        loss: Loss ratio; None where nothing was asked.
    """

    start_unix_ns: int
    p5_us: Figure | None
    p50_us: Figure | None
    p95_us: Figure | None
    loss: Fraction | None


@dataclass(frozen=True, slots=True)
class Probes:
    """What one series, or several of one target, did in the counted time.

    Attributes:
        ordered: Round-trip times of answered probes in microseconds, ascending; of raw samples only.
        variation: How far each of them lies above the least that was seen in its hour (RFC 5481, PDV), ascending
            likewise; empty where nobody wants it. A month's least would make a change of route look like variation.
        unanswered: Lost, late and malformed probes with raw samples.
        refused: Probes that somebody refused.
        asked: Probes that were answered or not, raw or counted; without the refused.
        missed: The unanswered among them, raw or counted.
        probed: The stretches of minutes in which at least one left, Unix seconds // 60, whether they count or not.
        hours: Hour by hour, in order of time; empty where nobody wants them.
        in_order: What the order of probes with raw samples tells; None where nobody wants it.
    """

    ordered: Words
    variation: Words
    unanswered: int
    refused: int
    asked: int
    missed: int
    probed: tuple[range, ...]
    hours: tuple[Hour, ...]
    in_order: InOrder | None

    @property
    def ranked(self) -> Ranked:
        """The delays in order of size, as the rules of percentiles want them."""
        return ranked(self.ordered, self.unanswered)

    @property
    def raw_gone(self) -> bool:
        """Whether some of the counted probes have no raw samples any more; only where delays are wanted."""
        return self.asked > self.ranked.count


def ranked(ordered: Words, unanswered: int) -> Ranked:
    """Return delays, or what else goes with each answered probe, in order of size, the unanswered last."""
    return Ranked(lambda rank: int(ordered[rank - 1]), len(ordered), unanswered)


@dataclass(frozen=True)
class RawHour:
    """An hour's raw samples as arrays, each made once somebody asks for it."""

    hour: HourMinutes

    @cached_property
    def rtts(self) -> Words:
        """The round-trip time of each probe, or its mark."""
        return np.frombuffer(b"".join(self.hour.rtts), _WORD)

    @cached_property
    def sent_us(self) -> Whole:
        """When each was sent, Unix microseconds."""
        counts = [len(words) // _WORD.itemsize for words in self.hour.rtts]
        starts_us = np.repeat(np.array(self.hour.minutes, np.int64) * _MINUTE_US, counts)
        return starts_us + np.frombuffer(b"".join(self.hour.offsets), _WORD)


@dataclass(slots=True)
class Collector:
    """Gathers one target's probes that lie within the time that counts.

    Attributes:
        keep: The time that counts.
        want: What is wanted of single probes.
    """

    keep: Sequence[Span]
    want: Want = Want.ORDER
    _walks: dict[Series, Walk] = field(default_factory=dict)
    _answered: dict[int, list[Words]] = field(default_factory=dict)
    _lost_in_hour: dict[int, int] = field(default_factory=dict)
    _counts: Whole = field(default_factory=lambda: np.zeros(3, np.int64))
    _edges: Whole = field(init=False)

    def __post_init__(self) -> None:
        # Samples are kept to the microsecond below, so the edges of spans have to be cut the same way.
        self._edges = np.array([t // 1000 for s in self.keep for t in (s.start_unix_ns, s.end_unix_ns)], np.int64)

    def take_hours(self, hours: Whole, counts: Whole) -> Whole:
        """Take the hours of a series by their sums, and return those that count in part: by minutes, if at all.

        Args:
            hours: Unix seconds // 3600 of each.
            counts: Of each hour how many probes were asked, missed and refused: three columns.
        """
        whole, partly = self._within(hours * _HOUR_US, _HOUR_US)
        self._counts += counts[whole].sum(axis=0)
        return hours[partly]

    def take_minutes(self, minutes: Whole, counts: Whole) -> None:
        """Take minutes without raw samples, of those that lie wholly within the time that counts.

        Args:
            minutes: Unix seconds // 60 of each.
            counts: Of each minute how many probes were asked, missed and refused: three columns.
        """
        whole, _ = self._within(minutes * _MINUTE_US, _MINUTE_US)
        self._counts += counts[whole].sum(axis=0)

    def take(self, raw: RawHour) -> None:
        """Take an hour of raw samples."""
        hour = raw.hour.hour
        begun, ended = np.searchsorted(self._edges, [hour * _HOUR_US, (hour + 1) * _HOUR_US - 1], side="right")
        if begun == ended:  # no edge lies in most hours, and looking each probe up takes as long as all the rest
            self._take(raw, begun, slice(None if begun % 2 else 0))
        else:
            places = np.searchsorted(self._edges, raw.sent_us, side="right")
            self._take(raw, places, places % 2 == 1)

    def _within(self, starts_us: Whole, length_us: int) -> tuple[npt.NDArray[np.bool_], npt.NDArray[np.bool_]]:
        """Return which stretches of time lie wholly within what counts, and which are cut by an edge of it."""
        begun, ended = (
            np.searchsorted(self._edges, at, side="right") for at in (starts_us, starts_us + (length_us - 1))
        )
        return (begun == ended) & (begun % 2 == 1), begun != ended

    def _take(self, raw: RawHour, places: Whole, counted: slice | npt.NDArray[np.bool_]) -> None:
        """Take the samples that are *counted*; *places* tells between which edges each was sent."""
        told = raw.rtts[counted]
        answered = told[told < RTT_LIMIT]
        marks = told[told >= RTT_LIMIT]
        refused, not_sent = (int(np.count_nonzero(marks == mark)) for mark in (MARK_REFUSED, MARK_NOT_SENT))
        lost = len(marks) - refused - not_sent
        if len(told) == not_sent:
            return
        self._counts += (len(answered) + lost, lost, refused)
        if Want.ORDER in self.want:
            sent = told != MARK_NOT_SENT
            stretches = np.broadcast_to(places, raw.rtts.shape)[counted][sent]
            self._walks.setdefault(raw.hour.series, Walk()).take(stretches, raw.sent_us[counted][sent], told[sent])
        if self.want:
            self._answered.setdefault(raw.hour.hour, []).append(answered)
            self._lost_in_hour[raw.hour.hour] = self._lost_in_hour.get(raw.hour.hour, 0) + lost

    def done(self, probed: Iterable[range] = ()) -> Probes:
        """Return what was gathered.

        Args:
            probed: The stretches of minutes in which at least one probe of the target left.
        """
        hours = [(hour, np.concatenate(parts)) for hour, parts in sorted(self._answered.items())]
        self._answered.clear()
        asked, missed, refused = self._counts.tolist()
        in_detail = Want.ORDER in self.want
        varied = [rtts - rtts.min() for _, rtts in hours if len(rtts)] if Want.VARIATION in self.want else []
        return Probes(
            ordered=_sorted([rtts for _, rtts in hours]),
            variation=_sorted(varied),
            unanswered=sum(self._lost_in_hour.values()),
            refused=refused,
            asked=asked,
            missed=missed,
            probed=tuple(probed),
            hours=tuple(_hour(hour, rtts, self._lost_in_hour[hour]) for hour, rtts in hours) if in_detail else (),
            in_order=in_order(self._walks.values()) if in_detail else None,
        )


def _sorted(parts: Sequence[Words]) -> Words:
    whole = np.concatenate(parts) if parts else np.empty(0, _WORD)
    whole.sort()
    return whole


def _hour(hour: int, rtts: Words, unanswered: int) -> Hour:
    delays = ranked(np.sort(rtts), unanswered)
    low, middle, high = (percentile(delays, share) for share in _BAND)
    return Hour(hour * _HOUR_US * 1000, low, middle, high, loss_ratio(unanswered, delays.count))
