"""A month of samples: the blocks of many series in one pass, to exact figures of each.

Sixteen million samples go through here, so the rows of an hour are handed to numpy together and only the round-trip
times of answered probes are kept, 4 bytes each.

Source: see `core.account.figures` for the rules; `Ranked` hands numpy's sorted array to them.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Final

import numpy as np

from wanwatch.core.account.figures import Figure, Ranked, loss_ratio, percentile
from wanwatch.core.model import Series, Span
from wanwatch.core.ports import MARK_NOT_SENT, MARK_REFUSED, RTT_LIMIT, MinuteBlock
from wanwatch.report.sequence import InOrder, Walk, Whole, Words, in_order

_WORD: Final = np.dtype("<u4")
_MINUTE_US: Final = 60_000_000
_HOUR_MIN: Final = 60
_BATCH: Final = 20_000
"""So many minutes at once are quick, and small."""
_BAND: Final = (Fraction(5, 100), Fraction(1, 2), Fraction(95, 100))


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
            likewise. A month's least would make a change of route look like variation.
        unanswered: Lost, late and malformed probes with raw samples.
        refused: Probes that somebody refused.
        asked: Probes that were answered or not, raw or counted; without the refused.
        missed: The unanswered among them, raw or counted.
        minutes: Unix seconds // 60 of each minute in which one left, in any order.
        hours: Hour by hour, in order of time.
        in_order: What the order of probes with raw samples tells; None where nobody asked for it.
    """

    ordered: Words
    variation: Words
    unanswered: int
    refused: int
    asked: int
    missed: int
    minutes: Whole
    hours: tuple[Hour, ...]
    in_order: InOrder | None

    @property
    def ranked(self) -> Ranked:
        """The delays in order of size, as the rules of percentiles want them."""
        return ranked(self.ordered, self.unanswered)

    @property
    def raw_gone(self) -> bool:
        """Whether some of the counted probes have no raw samples any more."""
        return self.asked > self.ranked.count


def ranked(ordered: Words, unanswered: int) -> Ranked:
    """Return delays, or what else goes with each answered probe, in order of size, the unanswered last."""
    return Ranked(lambda rank: int(ordered[rank - 1]), len(ordered), unanswered)


@dataclass(slots=True)
class Collector:
    """Gathers one target's probes that lie within the time that counts.

    Attributes:
        keep: The time that counts.
        detailed: Whether to tell hour by hour, and what the order of probes tells.
    """

    keep: Sequence[Span]
    detailed: bool = True
    _walks: dict[Series, Walk] = field(default_factory=dict)
    _hours: dict[int, list[Words]] = field(default_factory=dict)
    _lost_in_hour: dict[int, int] = field(default_factory=dict)
    _minutes: list[Whole] = field(default_factory=list)
    _refused: int = 0
    _counted: tuple[int, int] = (0, 0)
    _edges: Whole = field(init=False)

    def __post_init__(self) -> None:
        # Samples are kept to the microsecond below, so the edges of spans have to be cut the same way.
        self._edges = np.array([t // 1000 for s in self.keep for t in (s.start_unix_ns, s.end_unix_ns)], np.int64)

    def take(self, series: Series, hour: int, sent_us: Whole, rtts: Words) -> None:
        """Take an hour of raw samples: when each was sent (Unix microseconds), and its round-trip time or mark."""
        places = np.searchsorted(self._edges, sent_us, side="right")
        counts = (places % 2 == 1) & (rtts != MARK_NOT_SENT)
        told = rtts[counts]
        if not len(told):
            return
        self._minutes.append(np.unique(sent_us[counts] // _MINUTE_US))
        if self.detailed:
            self._walks.setdefault(series, Walk()).take(places[counts], sent_us[counts], told)
        answered = told[told < RTT_LIMIT]
        refused = int(np.count_nonzero(told == MARK_REFUSED))
        self._refused += refused
        self._hours.setdefault(hour, []).append(answered)
        self._lost_in_hour[hour] = self._lost_in_hour.get(hour, 0) + len(told) - len(answered) - refused

    def take_counts(self, minutes: Whole, counts: Whole) -> None:
        """Take minutes whose raw samples are gone, of those that lie wholly within the time that counts.

        Args:
            minutes: Unix seconds // 60 of each.
            counts: Of each minute how many probes were asked, missed and refused: three columns.
        """
        begun, ended = (
            np.searchsorted(self._edges, at, side="right")
            for at in (minutes * _MINUTE_US, (minutes + 1) * _MINUTE_US - 1)
        )
        within = (begun == ended) & (begun % 2 == 1)
        asked, missed, refused = counts[within].sum(axis=0).tolist()
        self._minutes.append(minutes[within & (counts[:, 0] + counts[:, 2] > 0)])
        self._counted = (self._counted[0] + asked, self._counted[1] + missed)
        self._refused += refused

    def done(self) -> Probes:
        """Return what was gathered."""
        hours = [(hour, np.concatenate(parts)) for hour, parts in sorted(self._hours.items())]
        self._hours.clear()
        ordered = _sorted([rtts for _, rtts in hours])
        variation = _sorted([rtts - rtts.min() for _, rtts in hours if len(rtts)])
        unanswered = sum(self._lost_in_hour.values())
        return Probes(
            ordered=ordered,
            variation=variation,
            unanswered=unanswered,
            refused=self._refused,
            asked=self._counted[0] + len(ordered) + unanswered,
            missed=self._counted[1] + unanswered,
            minutes=np.concatenate([np.empty(0, np.int64), *self._minutes]),
            hours=tuple(_hour(hour, rtts, self._lost_in_hour[hour]) for hour, rtts in hours) if self.detailed else (),
            in_order=in_order(self._walks.values()) if self.detailed else None,
        )


@dataclass(slots=True)
class _Desk:
    """Where the rows of one series wait until their hour is complete."""

    series: Series
    collectors: Sequence[Collector]
    seen: "Seen"
    hour: int = -1
    minutes: list[int] = field(default_factory=list)
    offsets: list[bytes] = field(default_factory=list)
    rtts: list[bytes] = field(default_factory=list)
    counts: list[tuple[int, int, int, int]] = field(default_factory=list)

    def put(self, block: MinuteBlock) -> None:
        asked, missed = block.sent - block.refused, block.lost + block.late + block.malformed
        if block.sent:
            self.seen.minutes.append(block.minute)
            self.seen.asked.append(asked)
            self.seen.missed.append(missed)
        if not block.rtts:
            self.counts.append((block.minute, asked, missed, block.refused))
            if len(self.counts) >= _BATCH:
                self.hand_counts_on()
            return
        hour = block.minute // _HOUR_MIN
        if hour != self.hour:
            self.hand_on()
            self.hour = hour
        self.minutes.append(block.minute)
        self.offsets.append(block.offsets)
        self.rtts.append(block.rtts)

    def hand_counts_on(self) -> None:
        """Hand the waiting minutes without raw samples to the collectors, as arrays: one by one takes ten times."""
        told = np.array(self.counts, np.int64).reshape(-1, 4)
        for collector in self.collectors if self.counts else ():
            collector.take_counts(told[:, 0], told[:, 1:])
        self.counts = []

    def hand_on(self) -> None:
        """Hand the waiting rows to the collectors, as arrays."""
        counts = [len(rtts) // _WORD.itemsize for rtts in self.rtts]
        starts_us = np.repeat(np.array(self.minutes, np.int64) * _MINUTE_US, counts)
        sent_us = starts_us + np.frombuffer(b"".join(self.offsets), _WORD)
        rtts = np.frombuffer(b"".join(self.rtts), _WORD)
        for collector in self.collectors if self.minutes else ():
            collector.take(self.series, self.hour, sent_us, rtts)
        self.minutes, self.offsets, self.rtts = [], [], []


@dataclass(frozen=True, slots=True)
class Seen:
    """The minutes of one series in which at least one probe left, in order of time.

    Attributes:
        minutes: Unix seconds // 60 of each.
        asked: Probes of each that were answered or not; without the refused.
        missed: The unanswered among them.
    """

    minutes: list[int] = field(default_factory=list)
    asked: list[int] = field(default_factory=list)
    missed: list[int] = field(default_factory=list)


def gather(blocks: Iterable[MinuteBlock], collectors: Mapping[Series, Sequence[Collector]]) -> dict[Series, Seen]:
    """Hand each block to the collectors of its series, and return what its minutes say by themselves."""
    desks = {series: _Desk(series, mine, Seen()) for series, mine in collectors.items()}
    for block in blocks:
        desks[block.series].put(block)
    for desk in desks.values():
        desk.hand_on()
        desk.hand_counts_on()
    return {series: desk.seen for series, desk in desks.items()}


def _sorted(parts: Sequence[Words]) -> Words:
    whole = np.concatenate(parts) if parts else np.empty(0, _WORD)
    whole.sort()
    return whole


def _hour(hour: int, rtts: Words, unanswered: int) -> Hour:
    delays = ranked(np.sort(rtts), unanswered)
    low, middle, high = (percentile(delays, share) for share in _BAND)
    start_unix_ns = hour * _HOUR_MIN * _MINUTE_US * 1000
    return Hour(start_unix_ns, low, middle, high, loss_ratio(unanswered, delays.count))
