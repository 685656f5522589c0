"""The path of ordinary traffic: the unpinned series that speak for it, and their silences."""

from collections.abc import Sequence

from wanwatch.core.judge.evidence import Said, Voice, of_line, voices
from wanwatch.core.judge.line import Line, Phase, Rules
from wanwatch.core.judge.run import SLACK_NS, Gap, Ledger
from wanwatch.core.model import NS_PER_S, Question, Role, Sample, Series


class Path:
    """Hears what speaks for the path.

    Attributes:
        line: The line machine of the path.
        ledger: When it was silent.
    """

    def __init__(self) -> None:
        self.line = Line()
        self.ledger = Ledger(1, 0)
        self._voices: dict[Series, Voice] = {}

    @property
    def watched(self) -> bool:
        """Whether anything speaks for it at all, and can be heard."""
        return bool(self._voices) and self.line.phase is not Phase.BLIND

    def reconfigure(self, questions: Sequence[Question], down_after_ns: int) -> None:
        """Take other unpinned series; what was heard stays."""
        lines = [question for question in questions if question.series.role is Role.LINE]
        self._voices = voices(self._voices, lines)
        self.line.reconfigure(tuple(self._voices.values()), Rules(down_after_ns, 0))
        self.ledger.majority = self.line.majority
        self.ledger.lag_ns = max((q.timeout_ns for q in lines), default=0) + SLACK_NS

    def hear(self, sample: Sample) -> Said:
        """Take in an unpinned sample, and return what it said of the path."""
        voice = self._voices.get(sample.series)
        said = Said.NOTHING if voice is None else of_line(sample)
        if voice is None or said is Said.NOTHING:
            return Said.NOTHING
        voice.note(said, sample)
        rtt_ns = (sample.rtt_ns or 0) if said is Said.LIFE else -1
        self.ledger.add(sample.sent_ns, sample.known_ns, rtt_ns, sample.series.target)
        self.ledger.settle(sample.known_ns)
        self.line.hear(voice, said, sample)
        return said

    def silent_s(self, lo_ns: int, hi_ns: int) -> float:
        """Return for how many seconds in all it was silent between two instants."""
        self.ledger.settle(self.line.seen_ns)
        return self.ledger.total_ns(lo_ns, hi_ns) / NS_PER_S

    def interruption_s(self, gap: Gap | None) -> float | None:
        """Return the length of a silence in seconds, 0 without one; None while it lasts, or if nobody watched."""
        if gap is not None:
            return None if gap.end_ns is None else (gap.end_ns - gap.first_ns) / NS_PER_S
        return 0.0 if self.watched else None
