"""Gathering: the record's hours and minutes, each read no closer than somebody's figures need, to the collectors.

Read minute by minute is the time of which somebody wants single round-trip times, as far as these are kept, or every
minute by itself. Of all other time there are the sums of each hour, and minutes only of an hour that an edge of the
time that counts cuts in two.
"""

from array import array
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import chain, compress
from typing import Final

import numpy as np

from wanwatch.core.account.spans import intersect, subtract, union
from wanwatch.core.model import NS_PER_S, Series, Span
from wanwatch.core.ports import HourMinutes, HourSums, Record
from wanwatch.report.samples import Collector, RawHour
from wanwatch.report.sequence import Whole

_HOUR_MIN: Final = 60
_HOUR_NS: Final = 3600 * NS_PER_S


def _numbers() -> "array[int]":
    return array("q")


@dataclass(frozen=True, slots=True)
class Seen:
    """What one series' minutes say by themselves.

    Attributes:
        probed: The stretches of minutes in which at least one probe left, Unix seconds // 60, in order of time.
        minutes: Each of them that was read by itself.
        asked: Probes of each of these that were answered or not; without the refused.
        missed: The unanswered among them.
    """

    probed: tuple[range, ...] = ()
    minutes: "array[int]" = field(default_factory=_numbers)
    asked: "array[int]" = field(default_factory=_numbers)
    missed: "array[int]" = field(default_factory=_numbers)


def gather(
    record: Record, site: str, span: Span, collectors: Mapping[Series, Sequence[Collector]], each: Sequence[Span] = ()
) -> dict[Series, Seen]:
    """Hand what each series did to its collectors, and return what its minutes say by themselves.

    Args:
        record: The record.
        site: Whose.
        span: The time that is read; nothing beyond it counts for any collector.
        collectors: By series; a series may have none.
        each: The time of which every minute is wanted by itself.
    """
    desks = {series: _Desk(mine) for series, mine in collectors.items()}
    singles = _singles(chain.from_iterable(collectors.values()), record.raw_from(site))
    close = _whole_hours(intersect([*each, *singles], [span]))
    cut: set[int] = set()
    for wide in subtract([span], close):
        sums: dict[Series, list[HourSums]] = defaultdict(list)
        for one in record.sums(site, wide, list(desks)):
            sums[one.series].append(one)
        cut = cut.union(*(desks[of].put_sums(told) for of, told in sums.items()))
    in_two = [Span(run.start * _HOUR_NS, run.stop * _HOUR_NS) for run in _runs(sorted(cut))]
    cutting = [series for series, desk in desks.items() if any(desk.summed.values())]
    for series, spans in ((list(desks), close), (cutting, in_two)):
        for stretch in intersect(spans, [span]):
            for hour in record.minutes(site, stretch, series):
                desks[hour.series].put(hour)
    return {series: desk.done() for series, desk in desks.items()}


def _singles(collectors: Iterable[Collector], raw_from_unix_ns: int) -> Iterator[Span]:
    """Yield the time of which single round-trip times are wanted, and may be there."""
    for one in collectors:
        if one.want and one.keep:
            begin, end = one.keep[0].start_unix_ns, one.keep[-1].end_unix_ns
            yield Span(min(max(begin, raw_from_unix_ns), end), end)


def _whole_hours(spans: Iterable[Span]) -> tuple[Span, ...]:
    """Return the hours of UTC into which any of *spans* reaches."""
    return union(Span(s.start_unix_ns // _HOUR_NS * _HOUR_NS, -(-s.end_unix_ns // _HOUR_NS) * _HOUR_NS) for s in spans)


def _runs(numbers: Sequence[int] | Whole) -> tuple[range, ...]:
    """Return ascending numbers as the fewest ranges."""
    ordered = np.asarray(numbers, np.int64)
    if not len(ordered):
        return ()
    gaps = np.flatnonzero(np.diff(ordered) > 1)
    first, last = ordered[np.append(0, gaps + 1)].tolist(), ordered[np.append(gaps, -1)].tolist()
    return tuple(range(begin, end + 1) for begin, end in zip(first, last, strict=True))


@dataclass(frozen=True, slots=True)
class _Desk:
    """Where what one series did is handed out.

    Attributes:
        collectors: Who gathers its samples.
        seen: What its minutes say by themselves.
        probed: The numbers of the minutes in which at least one probe left, of hours that were told by their sums.
        summed: Those hours, Unix seconds // 3600, and who has to be told more of each.
    """

    collectors: Sequence[Collector]
    seen: Seen = field(default_factory=Seen)
    probed: list[Whole] = field(default_factory=list)
    summed: dict[int, list[Collector]] = field(default_factory=dict)

    def put_sums(self, sums: Sequence[HourSums]) -> set[int]:
        """Hand out hours by their sums, and return those whose minutes have to be put, too."""
        told = np.array([one[1:] for one in sums], np.int64)
        hours, bits, counts = told[:, 0], told[:, 1], told[:, 2:]
        left = bits[:, None] >> np.arange(_HOUR_MIN) & 1 == 1
        self.probed.append((hours[:, None] * _HOUR_MIN + np.arange(_HOUR_MIN))[left])
        self.summed.update((hour, []) for hour in hours.tolist())
        cut: set[int] = set()
        for collector in self.collectors:
            for hour in collector.take_hours(hours, counts).tolist():
                self.summed[hour].append(collector)
                cut.add(hour)
        return cut

    def put(self, hour: HourMinutes) -> None:
        """Hand out the minutes of an hour that was not told by its sums, or of which somebody has to be told more."""
        if hour.hour not in self.summed:
            self._note(hour)
        raw = RawHour(hour)
        for collector in self.summed.get(hour.hour, self.collectors):
            collector.take(raw)

    def _note(self, hour: HourMinutes) -> None:
        """Note the minutes in which at least one probe left, and their counts."""
        for notes, told in zip(
            (self.seen.minutes, self.seen.asked, self.seen.missed), (hour.minutes, hour.asked, hour.missed), strict=True
        ):
            notes.extend(told if all(hour.sent) else compress(told, hour.sent))

    def done(self) -> Seen:
        """Return what the minutes say by themselves."""
        probed = np.sort(np.concatenate([*self.probed, np.array(self.seen.minutes, np.int64)]))
        return Seen(_runs(probed), self.seen.minutes, self.seen.asked, self.seen.missed)
