"""Hearing: the silences of one kind of ordinary traffic.

A kind is silent from the first send that got no answer to the first one after it that did. Of several targets of one
kind each speaks as an office's machines do, that try the next resolver: a target that was silent before opens no
silence, and one that goes on answering ends it as its neighbour's own trouble.

Sources:     RFC 6298 sections 2 and 5 (TCP sends again, and doubles its wait each time).
Departures:  a connection's answer that comes later than TCP could have sent again is the answer to what was sent again:
             its probe counts as silent, and as answered one usual round trip before the answer came.
"""

from bisect import bisect_right, insort
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from operator import itemgetter
from typing import Final, NamedTuple

from wanwatch.core.judge.evidence import AHEAD, NEVER, Said, of_line, of_names
from wanwatch.core.judge.run import SLACK_NS, Gap
from wanwatch.core.model import NS_PER_S, Json, Kind, Outcome, Question, Role, Sample

RESENT_NS: Final = NS_PER_S // 5
"""How soon TCP may send again; Linux: TCP_RTO_MIN in include/net/tcp.h (from memory)."""
_MOST_ANSWERS: Final = 1024
_BY_TCP: Final = frozenset({Kind.TCP, Kind.HELD})
_SENT: Final = itemgetter(0)
_ORDER: Final = itemgetter(0, 1, 2, 3)


class Word(NamedTuple):
    """One probe, or one half of a probe that TCP sent again."""

    sent_ns: int
    known_ns: int
    answered: bool
    target: str
    rtt_ns: int
    connection: Json


class Answer(NamedTuple):
    """One answered probe; `connection` is the number of the one that it came on, None for other kinds."""

    sent_ns: int
    known_ns: int
    connection: Json


@dataclass(slots=True)
class Hearing:
    """What is heard of one kind, put in the order of sending once every outcome must be known.

    Attributes:
        lag_ns: How long after its sending a probe's outcome is surely known.
        turn_ns: The longest interval between two probes.
        settled_ns: Up to which sending everything is in order.
        answers: The answered probes, the latest last.
        gaps: The silences that have ended, the latest last.
        open: The silence that lasts, if there is one.
    """

    lag_ns: int = 0
    turn_ns: int = 0
    waiting: list[Word] = field(default_factory=list)
    settled_ns: int = NEVER
    answering: dict[str, bool] = field(default_factory=dict)
    usual_ns: dict[str, int] = field(default_factory=dict)
    answers: deque[Answer] = field(default_factory=lambda: deque(maxlen=_MOST_ANSWERS))
    gaps: deque[Gap] = field(default_factory=lambda: deque(maxlen=64))
    open: Gap | None = None

    def ask_as(self, questions: Sequence[Question]) -> None:
        """Take over how its *questions*, at least one, are asked."""
        self.lag_ns = max(question.timeout_ns for question in questions) + SLACK_NS
        self.turn_ns = max(question.every_ns for question in questions)

    def hear(self, sample: Sample) -> None:
        """Note what a sample says."""
        series = sample.series
        said = of_names(sample) if series.role is Role.TRAFFIC and sample.outcome is not Outcome.NOT_SENT else None
        said = said or of_line(sample)
        if said is Said.NOTHING:
            return
        rtt_ns = sample.rtt_ns or 0
        connection = (sample.facts or {}).get("connection")
        word = Word(sample.sent_ns, sample.known_ns, said is Said.LIFE, series.target, rtt_ns, connection)
        usual_ns = self.usual_ns.get(series.target)
        if word.answered and series.kind in _BY_TCP and usual_ns is not None and rtt_ns >= usual_ns + RESENT_NS:
            insort(self.waiting, word._replace(answered=False), key=_ORDER)
            word = word._replace(sent_ns=sample.known_ns - usual_ns, rtt_ns=usual_ns)
        elif word.answered:
            self.usual_ns[series.target] = rtt_ns
        insort(self.waiting, word, key=_ORDER)

    def settle(self, now_ns: int) -> None:
        """Put in order what must be known by now."""
        self.settled_ns = max(self.settled_ns, now_ns - self.lag_ns)
        upto = bisect_right(self.waiting, self.settled_ns, key=_SENT)
        for word in self.waiting[:upto]:
            (self._answered if word.answered else self._silent)(word)
        del self.waiting[:upto]

    def _silent(self, word: Word) -> None:
        before = self.answers[-1] if self.answers else None
        if self.open is None and before is not None and self.answering.get(word.target):
            rtt_ns = self.usual_ns.get(word.target, 0)
            self.open = Gap(word.sent_ns, before.sent_ns, rtt_ns, last_ns=word.sent_ns)
        if self.open is not None:
            self.open.last_ns = word.sent_ns
        self.answering[word.target] = False

    def _answered(self, word: Word) -> None:
        gap, self.open = self.open, None
        if gap is not None and not self.answering.get(word.target):
            gap.end_ns, gap.end_known_ns = word.sent_ns, word.known_ns
            self.gaps.append(gap)
        self.answering[word.target] = True
        self.answers.append(Answer(word.sent_ns, word.known_ns, word.connection))

    def longest(self, lo_ns: int, hi_ns: int) -> Gap | None:
        """The longest silence that began from *lo_ns* to *hi_ns*, or None."""
        found = [gap for gap in (*self.gaps, *([self.open] if self.open else [])) if lo_ns <= gap.first_ns <= hi_ns]
        return max(found, key=lambda gap: gap.length_ns(AHEAD), default=None)

    def around(self, lo_ns: int, hi_ns: int) -> tuple[Answer | None, Answer | None]:
        """The last answered probe up to *lo_ns*, and the first one from *hi_ns* on."""
        before = next((answer for answer in reversed(self.answers) if answer.sent_ns <= lo_ns), None)
        return before, next((answer for answer in self.answers if answer.sent_ns >= hi_ns), None)

    def widest_ns(self, lo_ns: int, hi_ns: int) -> int | None:
        """The longest that could have passed unseen between two answers around the time; None if unwatched."""
        before, after = self.around(lo_ns, hi_ns)
        if before is None or after is None:
            return None
        between = [answer for answer in self.answers if before.sent_ns <= answer.sent_ns <= after.sent_ns]
        return max((later.known_ns - earlier.sent_ns for earlier, later in pairwise(between)), default=None)
