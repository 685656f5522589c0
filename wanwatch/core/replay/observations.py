"""Stored minutes and sightings back to observations, in the order in which they became known.

Departures:  a block has whole microseconds, so that an instant is given as the middle of its microsecond, within
             0.5 us of the true one, and an arrival within 1 us. When a refused or corrupt reply came is not stored; it
             is given as known at the end of its waiting time, like a loss. The monotonic clock is the wall clock.
"""

import struct
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Mapping, Sequence
from operator import itemgetter
from typing import Final, NamedTuple

from wanwatch.core.judge.evidence import AHEAD
from wanwatch.core.model import Json, LinkSeen, Outcome, PinsSeen, Question, RouteSeen, Sample, Series, SpeedSeen
from wanwatch.core.ports import (
    MARK_LATE,
    MARK_LOST,
    MARK_MALFORMED,
    MARK_NOT_SENT,
    MARK_REFUSED,
    RTT_LIMIT,
    MinuteBlock,
)
from wanwatch.core.sighting import About, Sighting, cause_and_facts, observation, of_sample

MINUTE_NS: Final = 60_000_000_000
_MIDDLE_NS: Final = 500
_AT: Final = itemgetter(0)
_OUTCOMES: Final = {
    MARK_LOST: Outcome.LOST,
    MARK_LATE: Outcome.LOST,  # a reply after the waiting time is lost for every judgement (RFC 7680)
    MARK_REFUSED: Outcome.REFUSED,
    MARK_MALFORMED: Outcome.MALFORMED,
    MARK_NOT_SENT: Outcome.NOT_SENT,
}

Word = RouteSeen | LinkSeen | PinsSeen | SpeedSeen


class Known(NamedTuple):
    """An observation, and when it became known (Unix nanoseconds)."""

    at_ns: int
    seen: Sample | Word


class Retold:
    """What the judge was told, told again.

    Args:
        questions: How the series are asked; series without a question are left out.
        sightings: What was sighted, by instant, from a day before the first minute on.

    Attributes:
        hollow: How many minutes of a series were met whose raw samples are gone.
    """

    def __init__(self, questions: Sequence[Question], sightings: Iterable[Sighting]) -> None:
        self.hollow = 0
        self._timeout_ns: Mapping[Series, int] = {q.series: q.timeout_ns for q in questions}
        self._said: dict[About, list[Sighting]] = {}
        self._words: list[Known] = []
        for kept in sightings:
            word = observation(kept)
            if word is None:
                self._said.setdefault(kept.about, []).append(kept)
            else:
                self._words.append(Known(kept.at_unix_ns, word))

    def observations(self, blocks: Iterable[MinuteBlock]) -> Iterator[Known]:
        """Yield the samples of *blocks*, which come by minute, and the words sighted, as they became known."""
        waiting, minute = self._words, None
        for block in blocks:
            if block.minute != minute:
                minute = block.minute
                known, waiting = _split(waiting, minute * MINUTE_NS)
                yield from known
            waiting += self._samples(block)
        yield from _split(waiting, AHEAD)[0]

    def _samples(self, block: MinuteBlock) -> Iterator[Known]:
        timeout_ns = self._timeout_ns.get(block.series)
        if timeout_ns is None:
            return
        self.hollow += not block.rtts and block.sent > 0
        series, begin_ns = block.series, block.minute * MINUTE_NS
        said = {outcome: self._said.get(of_sample(series, outcome), ()) for outcome in Outcome}
        pairs = zip(_words(block.offsets), _words(block.rtts), strict=True)
        for (offset_us,), (rtt_us,) in pairs:
            at_ns = begin_ns + offset_us * 1000
            sent_ns = at_ns + _MIDDLE_NS
            outcome = _OUTCOMES.get(rtt_us, Outcome.ANSWERED)
            rtt_ns = rtt_us * 1000 if rtt_us < RTT_LIMIT else None
            cause, facts = cause_and_facts(_standing(said[outcome], at_ns))
            waited_ns = timeout_ns if rtt_ns is None else rtt_ns
            known_ns = sent_ns if outcome is Outcome.NOT_SENT else sent_ns + waited_ns
            yield Known(known_ns, Sample(series, sent_ns, sent_ns, known_ns, outcome, rtt_ns, cause, facts=facts))


def _words(packed: bytes) -> Iterator[tuple[int]]:
    return struct.iter_unpack("<I", packed)


def _standing(said: Sequence[Sighting], at_ns: int) -> Json:
    """The last word that was said by then."""
    found = bisect_right(said, at_ns, key=_AT) if said else 0
    return said[found - 1].said if found else None


def _split(waiting: list[Known], upto_ns: int) -> tuple[list[Known], list[Known]]:
    """Put in order what was known before an instant; return it, and the rest."""
    waiting.sort(key=_AT)
    found = bisect_left(waiting, upto_ns, key=_AT)
    return waiting[:found], waiting[found:]
