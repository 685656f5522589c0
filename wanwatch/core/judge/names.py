"""Names: do names resolve through an uplink whose line is up?

The line machine once more, with each resolver as a target. What it says counts only while the line is up: an uplink
that is down resolves nothing, and that is no failure of the names.
"""

import math
from collections.abc import Sequence
from typing import Final

from wanwatch.core.judge.events import Book, Draft, Moment
from wanwatch.core.judge.evidence import NEVER, Said, Voice, of_names, voices
from wanwatch.core.judge.line import Line, Phase, Rules, Turn
from wanwatch.core.model import Domain, EventKind, JudgeSettings, Question, Sample, Series

_ALIVE = frozenset({Phase.UP, Phase.DOUBTED})
_CHANCE: Final = 1e-4
"""So many questions in a row are a failure as the line's own loss would all lose by chance no more often than this."""
_MOST_LOSS: Final = 0.4
"""Above it ten questions in a row have to be enough, or a failure would never be told."""


class Names:
    """The resolvers of one uplink.

    Args:
        uplink: Its name.
        book: Where a failure is told.
        failure: The failure that was open when an earlier run ended.
    """

    def __init__(self, uplink: str, book: Book, failure: Draft | None) -> None:
        self._uplink = uplink
        self._book = book
        self._failure = failure
        self._line = Line()
        self._voices: dict[Series, Voice] = {}
        self._settings = JudgeSettings()

    def reconfigure(self, questions: Sequence[Question], settings: JudgeSettings) -> None:
        """Take other resolvers or numbers; those that stay keep what was heard of them."""
        self._voices = voices(self._voices, questions)
        self._settings = settings
        self.expect(0.0)

    def expect(self, loss_ratio: float) -> None:
        """Be as patient as it takes with a line that loses so much: its losses are no failure of the names."""
        alone = math.ceil(math.log(_CHANCE) / math.log(max(_CHANCE, min(loss_ratio, _MOST_LOSS))))
        # Names are asked rarely: two questions and a waiting time at the least make a silence.
        number = max(2, alone - 1)
        rare_ns = max((number * voice.every_ns + voice.timeout_ns for voice in self._voices.values()), default=0)
        rules = Rules(max(self._settings.down_after_ns, rare_ns), self._settings.up_after_ns)
        self._line.reconfigure(tuple(self._voices.values()), rules)

    def blind(self, now_ns: int) -> None:
        """Start anew: what was heard of the resolvers does not count until *now_ns*."""
        self._line.blind(now_ns)

    def hear(self, sample: Sample) -> bool:
        """Take in a resolver's sample; return False if it changed nothing."""
        voice = self._voices[sample.series]
        said = of_names(sample)
        voice.note(said, sample)
        before = self._line.phase
        self._turned(self._line.hear(voice, said, sample))
        return said is not Said.LIFE or before is not Phase.UP

    def due_ns(self) -> int:
        """When `advance` has something to decide."""
        return self._line.due_ns()

    def advance(self, now_ns: int) -> None:
        """Decide what is due at *now_ns*."""
        self._turned(self._line.advance(now_ns))

    def _turned(self, turn: Turn | None) -> None:
        if turn is None:
            return
        if turn.after is Phase.DOWN and self._failure is None:
            self._failed()
        elif turn.after in _ALIVE and turn.before not in _ALIVE and self._failure is not None:
            back = self._line.recovery or self._line.woken
            silent_ns = back.first_ns if back.silent_ns == NEVER else back.silent_ns
            self._end(self._failure, Moment(back.first_ns, silent_ns, back.known_ns))
        if turn.after in _ALIVE:
            self._line.recovery = None
            self.expect(0.0)

    def _failed(self) -> None:
        cut = self._line.cut
        earliest_ns = cut.first_ns if cut.life_ns == NEVER else cut.life_ns
        self._failure = Draft(
            kind=EventKind.NAMES_FAILURE, uplink=self._uplink, domain=Domain.NAMES,
            start=Moment(cut.first_ns, earliest_ns, cut.by_ns),
            detail={"resolvers": [series.target for series in self._voices]},
        )  # fmt: skip
        self._book.tell(self._failure)

    def cut_short(self, end: Moment, ended_by: str) -> None:
        """The line went down or out of sight, and took the question of names with it."""
        self._line.blind(end.estimate_ns)
        if self._failure is not None:
            self._failure.detail["ended_by"] = ended_by
            self._end(self._failure, end)

    def _end(self, failure: Draft, end: Moment) -> None:
        failure.end = end
        self._failure = None
        self._book.tell(failure)
