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

    def take(self, raw: RawHour) -> None:
        """Take an hour of a series by its minutes: of those without raw samples, the ones that count wholly."""
        begun, ended = np.searchsorted(
            self._edges, [raw.hour.hour * _HOUR_US, (raw.hour.hour + 1) * _HOUR_US - 1], "right"
        )
        if begun != ended:
            self._take_in_part(raw)
        elif begun % 2:  # as most hours are; its counts are known, and looking each probe up takes ten times as long
            self._counts += [sum(column) for column in (raw.hour.asked, raw.hour.missed, raw.hour.refused)]
            if self.want:
                self._keep(raw, raw.rtts, np.broadcast_to(begun, raw.rtts.shape), slice(None))

    def _take_in_part(self, raw: RawHour) -> None:
        hour = raw.hour
        bare = [place for place, rtts in enumerate(hour.rtts) if not rtts]
        minutes, *counts = np.array([hour.minutes, hour.asked, hour.missed, hour.refused], np.int64)[:, bare]
        whole, _ = self._within(minutes * _MINUTE_US, _MINUTE_US)
        self._counts += [column[whole].sum() for column in counts]
        places = np.searchsorted(self._edges, raw.sent_us, side="right")
        counted = places % 2 == 1
        told = raw.rtts[counted]
        refused, not_sent = (np.count_nonzero(told == mark) for mark in (MARK_REFUSED, MARK_NOT_SENT))
        lost = np.count_nonzero(told >= RTT_LIMIT) - refused - not_sent
        self._counts += [len(told) - refused - not_sent, lost, refused]
        if self.want:
            self._keep(raw, told, places[counted], counted)

    def _keep(self, raw: RawHour, told: Words, places: Whole, counted: slice | npt.NDArray[np.bool_]) -> None:
        """Keep what is wanted of the *counted* samples; *places* tells between which edges each was sent."""
        answered = told[told < RTT_LIMIT]
        marks = told[told >= RTT_LIMIT] if len(answered) < len(told) else told[:0]
        sent = marks[marks != MARK_NOT_SENT]
        if len(answered) + len(sent) == 0:
            return
        hour = raw.hour.hour
        self._answered.setdefault(hour, []).append(answered)
        lost = int(np.count_nonzero(sent != MARK_REFUSED))
        self._lost_in_hour[hour] = self._lost_in_hour.get(hour, 0) + lost
        if Want.ORDER in self.want:
            left = told != MARK_NOT_SENT if len(sent) < len(marks) else slice(None)
            walk = self._walks.setdefault(raw.hour.series, Walk())
            walk.take(places[left], raw.sent_us[counted][left], told[left])

    def _within(self, starts_us: Whole, length_us: int) -> tuple[npt.NDArray[np.bool_], npt.NDArray[np.bool_]]:
        """Return which stretches of time lie wholly within what counts, and which are cut by an edge of it."""
        begun, ended = (
            np.searchsorted(self._edges, at, side="right") for at in (starts_us, starts_us + (length_us - 1))
        )
        return (begun == ended) & (begun % 2 == 1), begun != ended

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
