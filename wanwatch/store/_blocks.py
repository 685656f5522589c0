"""Minute blocks: gathering samples in memory, and merging what was gathered into what is stored.

The raw arrays are the truth: every figure of a block except `reordered` and `duplicated` is computed from them anew at
each merge. So a flush of a running minute, a restart within it, a late answer and a wall clock that steps back into a
minute already stored are all the same case.
"""

import sys
from array import array
from bisect import bisect_left
from collections.abc import Iterable
from dataclasses import dataclass, field
from operator import itemgetter
from typing import Any, Final

from wanwatch.core.account.percentile import percentile
from wanwatch.core.model import Outcome, Sample, Series
from wanwatch.core.ports import (
    MARK_LATE,
    MARK_LOST,
    MARK_MALFORMED,
    MARK_NOT_SENT,
    MARK_REFUSED,
    RTT_LIMIT,
    MinuteBlock,
)

NS_PER_MINUTE: Final = 60_000_000_000
NS_PER_US: Final = 1_000
_MARKS: Final = {
    Outcome.LOST: MARK_LOST,
    Outcome.LATE: MARK_LATE,
    Outcome.REFUSED: MARK_REFUSED,
    Outcome.MALFORMED: MARK_MALFORMED,
    Outcome.NOT_SENT: MARK_NOT_SENT,
}


def _words() -> "array[int]":
    return array("I")


@dataclass(slots=True)
class Gathered:
    """What was learnt of one minute of one series since it was last written.

    Attributes:
        offsets: Microseconds from the minute's start to each send, in the order told.
        rtts: Round-trip times in microseconds, or marks.
        late: Offsets of probes told as lost that were answered after all.
        reordered: How many of these samples were overtaken.
        duplicated: How many further answers came.
    """

    offsets: "array[int]" = field(default_factory=_words)
    rtts: "array[int]" = field(default_factory=_words)
    late: list[int] = field(default_factory=list)
    reordered: int = 0
    duplicated: int = 0

    def add(self, offset_us: int, sample: Sample) -> None:
        """Add a sample that was sent *offset_us* after the minute's start."""
        self.offsets.append(offset_us)
        if sample.outcome is Outcome.ANSWERED and sample.rtt_ns is not None:
            self.rtts.append(min((sample.rtt_ns + NS_PER_US // 2) // NS_PER_US, RTT_LIMIT - 1))
            self.reordered += sample.reordered
        else:
            self.rtts.append(_MARKS[sample.outcome])


def empty(series: Series, minute: int) -> MinuteBlock:
    """Return the block of a minute in which nothing was told yet."""
    return MinuteBlock(
        series=series, minute=minute, sent=0, lost=0, late=0, refused=0, malformed=0, not_sent=0, reordered=0,
        duplicated=0, min_us=None, median_us=None, p95_us=None, max_us=None, offsets=b"", rtts=b"",
    )  # fmt: skip


def merge(stored: MinuteBlock, gathered: Gathered) -> MinuteBlock:
    """Return *stored* with what was *gathered* added.

    The arrays are in order of the wall-clock instant of sending, also where the clock stepped back over the minute.
    A block whose raw arrays are gone keeps them empty: its counts are added up, and its quantiles, which cannot be
    known any more, become None.
    """
    if stored.sent + stored.not_sent > 0 and not stored.rtts:
        return _add_counts(stored, merge(empty(stored.series, stored.minute), gathered), len(gathered.late))
    offsets, rtts = _joined(stored, gathered)
    for offset_us in gathered.late:
        _turn_late(offsets, rtts, offset_us)
    return stored._replace(
        **_figures(rtts),
        reordered=stored.reordered + gathered.reordered,
        duplicated=stored.duplicated + gathered.duplicated,
        offsets=_pack(offsets),
        rtts=_pack(rtts),
    )


def _joined(stored: MinuteBlock, gathered: Gathered) -> tuple["array[int]", "array[int]"]:
    offsets = _unpack(stored.offsets) + gathered.offsets
    rtts = _unpack(stored.rtts) + gathered.rtts
    # A lost probe is told at the end of its waiting time, after younger ones were answered.
    pairs = sorted(zip(offsets, rtts, strict=True), key=itemgetter(0))
    return array("I", map(itemgetter(0), pairs)), array("I", map(itemgetter(1), pairs))


def _turn_late(offsets: "array[int]", rtts: "array[int]", offset_us: int) -> None:
    at = bisect_left(offsets, offset_us)
    while at < len(offsets) and offsets[at] == offset_us:
        if rtts[at] == MARK_LOST:
            rtts[at] = MARK_LATE
            return
        at += 1


def _figures(rtts: Iterable[int]) -> dict[str, Any]:
    ordered = sorted(rtts)
    answered = ordered[: bisect_left(ordered, RTT_LIMIT)]
    marks = ordered[len(answered) :]
    not_sent = marks.count(MARK_NOT_SENT)
    return {
        "sent": len(ordered) - not_sent,
        "lost": marks.count(MARK_LOST),
        "late": marks.count(MARK_LATE),
        "refused": marks.count(MARK_REFUSED),
        "malformed": marks.count(MARK_MALFORMED),
        "not_sent": not_sent,
        "min_us": answered[0] if answered else None,
        "median_us": _whole(percentile(answered, 0.5)),
        "p95_us": _whole(percentile(answered, 0.95)),
        "max_us": answered[-1] if answered else None,
    }


def _add_counts(stored: MinuteBlock, more: MinuteBlock, late: int) -> MinuteBlock:
    late = min(late, stored.lost)
    changed = more.min_us is not None
    return stored._replace(
        sent=stored.sent + more.sent,
        lost=stored.lost + more.lost - late,
        late=stored.late + more.late + late,
        refused=stored.refused + more.refused,
        malformed=stored.malformed + more.malformed,
        not_sent=stored.not_sent + more.not_sent,
        reordered=stored.reordered + more.reordered,
        duplicated=stored.duplicated + more.duplicated,
        min_us=min((us for us in (stored.min_us, more.min_us) if us is not None), default=None),
        median_us=None if changed else stored.median_us,
        p95_us=None if changed else stored.p95_us,
        max_us=max((us for us in (stored.max_us, more.max_us) if us is not None), default=None),
    )


def _whole(us: float | None) -> int | None:
    return None if us is None else round(us)


def _pack(words: "array[int]") -> bytes:
    return _little_endian(words).tobytes()


def _unpack(packed: bytes) -> "array[int]":
    return _little_endian(array("I", packed))


def _little_endian(words: "array[int]") -> "array[int]":
    if sys.byteorder == "big":
        words.byteswap()
    return words
