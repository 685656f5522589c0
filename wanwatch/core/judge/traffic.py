"""Ordinary traffic: who carries it, when a change of that can be told, and whether people are cut off."""

from collections.abc import Mapping, Sequence

from wanwatch.core.judge.carrying import ROUTE, Carrying, Change, Word
from wanwatch.core.judge.egress import Egress
from wanwatch.core.judge.events import Book, Moment
from wanwatch.core.judge.evidence import AHEAD, NEVER, Said, of_line
from wanwatch.core.judge.interruption import Interruptions
from wanwatch.core.judge.line import QUICK, Phase
from wanwatch.core.judge.path import Path
from wanwatch.core.judge.uplink import Uplink
from wanwatch.core.judge.verdicts import REACH_NS, Verdicts
from wanwatch.core.model import (
    NS_PER_S,
    UNPINNED,
    CarryingChanged,
    Event,
    JudgeSettings,
    Kind,
    Question,
    RouteSeen,
    Sample,
)


class Traffic:
    """The unpinned path of a site.

    Args:
        uplinks: The site's uplinks in order of preference; shared with the judge, who keeps it up to date.
        book: Where its events are told.
        carrying: The machine, with what it remembers.
        open_events: Switches that were open when an earlier run ended.
        alive_unix_ns: When that run was last known alive.

    Attributes:
        line: The line machine of the path.
        moved: The last change of the carrying uplink.
        hands: What is seen of a person who moves traffic.
    """

    def __init__(
        self, uplinks: Mapping[str, Uplink], book: Book, *, carrying: Carrying,
        open_events: Sequence[Event] = (), alive_unix_ns: int | None = None,
    ) -> None:  # fmt: skip
        self.carrying = carrying
        self._uplinks = uplinks
        self._book = book
        self._egress = Egress()
        self._interruptions = Interruptions(book)
        self._path = Path()
        self.line = self._path.line
        self._verdicts = Verdicts(
            uplinks, book, path=self._path, interruptions=self._interruptions, open_events=open_events,
            alive_unix_ns=alive_unix_ns,
        )  # fmt: skip
        self.hands = self._verdicts.hands
        self._pending: list[Change] = []
        self._shown = CarryingChanged(None, known=False)
        self._told_ambiguous = False
        self._history: list[tuple[int, CarryingChanged]] = []
        self._dark = False
        self._darkens_ns = AHEAD
        self.moved: Change | None = None
        self._moves: list[Change] = []
        self._settings = JudgeSettings()

    def begin(self, now_ns: int) -> None:
        """Watching begins."""
        self.line.blind(now_ns)

    def reconfigure(self, questions: Sequence[Question], settings: JudgeSettings) -> None:
        """Take other series or numbers; what was heard stays. Pinned STUN series belong here as well."""
        self._egress.reconfigure(questions)
        questions = [question for question in questions if question.series.uplink == UNPINNED]
        self._interruptions.reconfigure(questions)
        self._settings = settings
        self._path.reconfigure(questions, settings.down_after_ns)
        stun = [question for question in questions if question.series.kind is Kind.STUN]
        self.carrying.round_ns = max((q.every_ns for q in stun), default=0)
        self.carrying.grace_ns = max((q.pulse_ns + q.timeout_ns for q in stun), default=0)

    def hear(self, sample: Sample) -> bool:
        """Take in an unpinned sample, of which LINE ones speak for the path; return False if it changed nothing."""
        self._interruptions.hear(sample)
        before = self.line.phase
        said = self._path.hear(sample)
        if said is Said.NOTHING:
            return False
        if self._dark and self.line.phase is not Phase.DOWN:
            self._dark = False
            self._moved(self.carrying.lit(sample.known_ns))
        return before is not Phase.UP or said is not Said.LIFE or self._verdicts.open

    def stun(self, sample: Sample) -> bool:
        """Take in a STUN sample, pinned or not; return False if it changed nothing."""
        told = self._egress.ambiguous
        if sample.series.uplink == UNPINNED and of_line(sample) is Said.SILENCE:
            self._verdicts.unheard_ns[sample.series.target] = sample.sent_ns
        word = self._egress.hear(sample)
        if word is None:
            return self._egress.ambiguous is not told
        self._moved(self.carrying.hear(sample.series.target, word._replace(known_ns=sample.known_ns)))
        return True

    def distrust(self, uplink: str) -> None:
        """The pin of *uplink* is lost: the addresses that it showed are another line's."""
        self._egress.forget(uplink)

    def route(self, seen: RouteSeen) -> None:
        """Take in the kernel's route of unpinned traffic."""
        self.hands.route(seen)
        word = Word(seen.at_ns, seen.at_ns, seen.uplink)
        if self._dark and seen.uplink is not None:
            self.carrying.note_route(word)  # a dead path is no better for being the kernel's choice
        else:
            self._moved(self.carrying.hear(ROUTE, word))

    def due_ns(self) -> int:
        """When `advance` has something to do; `AHEAD` if never."""
        machines = (self.line.due_ns(), self.carrying.due_ns(), self._interruptions.due_ns())
        return min(*machines, self._verdict_due_ns(), self._darkens_ns)

    def advance(self, now_ns: int) -> None:
        """Decide what is due at *now_ns*."""
        self.line.advance(now_ns)
        self._moved(self.carrying.advance(now_ns))
        if self._darkens_ns <= now_ns:
            self._darken(now_ns)
        self.review(now_ns)
        self._interruptions.advance(now_ns)

    def review(self, now_ns: int) -> None:
        """Look at what hangs on several machines at once."""
        self._look_for_dark(now_ns)
        self._lose()
        while self._verdict_due_ns() <= now_ns:
            self._judge(self._pending.pop(0), now_ns, sure=True)
        self._verdicts.run_on()
        self._show()

    def _look_for_dark(self, now_ns: int) -> None:
        """Silence is a blackout only if no uplink is left that could carry, once all news of this instant are known."""
        every_down = all(uplink.line.phase is Phase.DOWN for uplink in self._uplinks.values())
        if self._dark or not every_down or self.line.phase is not Phase.DOWN:
            self._darkens_ns = AHEAD
        elif self._darkens_ns == AHEAD:
            self._darkens_ns = now_ns + 1

    def _darken(self, now_ns: int) -> None:
        self._dark, self._darkens_ns = True, AHEAD
        if not (self.carrying.known and self.carrying.uplink is None):
            self._moved(self.carrying.dark(self.line.cut.first_ns, now_ns))

    def _moved(self, change: Change | None) -> None:
        if change is not None:
            self.moved = change
            self._pending.append(change)
        self._pending = self.carrying.real(self._pending)
        now = self._carriers()
        if not self._history or self._history[-1][1] != now:
            self._history = [*self._history[-15:], (self.carrying.first_ns, now)]

    def _carriers(self) -> CarryingChanged:
        shares = tuple(name for name in self._uplinks if name in self.carrying.shares)
        return CarryingChanged(shares[0] if shares else self.carrying.uplink, self.carrying.known, shares)

    def _lose(self) -> None:
        """Traffic leaves a line that shared the load and has died."""
        down = {name: uplink.line.cut for name, uplink in self._uplinks.items() if uplink.line.phase is Phase.DOWN}
        self.carrying.dead = frozenset(down)
        for name in sorted(down.keys() & self.carrying.shares):
            self._moved(self.carrying.lose(name, down[name].first_ns))

    def take_moves(self) -> list[Change]:
        """Return the changes of the carrying uplink that were told as switches since the last time."""
        moves, self._moves = self._moves, []
        return moves

    def _verdict_due_ns(self) -> int:
        """When the oldest switch can be told: once the line that traffic left has shown what it was."""
        if not self._pending:
            return AHEAD
        change = self._pending[0]
        settled_ns = change.first.known_ns + self._path.ledger.lag_ns + REACH_NS
        left = self._uplinks.get(change.from_uplink or "")
        if not change.watched:
            return NEVER
        if left is None or change.to_uplink is None:
            return settled_ns
        lo_ns, hi_ns = change.last_ns, change.first.known_ns
        if left.line.phase in (Phase.DOUBTED, Phase.DIM) and len(self._pending) == 1:
            return AHEAD  # the line's own verdict comes first
        if left.was_down(lo_ns, hi_ns):
            return settled_ns
        timeout_ns = max((voice.timeout_ns for voice in left.line.voices), default=0)
        sure_ns = max(self._settings.down_after_ns + timeout_ns + NS_PER_S, self.carrying.doubt_ns)
        return max(settled_ns, hi_ns + sure_ns)

    def _judge(self, change: Change, now_ns: int, *, sure: bool) -> None:
        self._moves.append(change)
        self._verdicts.tell(change, now_ns, sure=sure)

    def interruption_s(self, uplink: str, start: Moment, end: Moment) -> float | None:
        """Seconds in which ordinary traffic got no answer; None if *uplink* did not carry it or nobody watched."""
        carrier = next((then for since_ns, then in reversed(self._history) if since_ns <= start.earliest_ns), None)
        if carrier is None or uplink not in carrier.carriers or not self._path.watched:
            return None
        return self._path.silent_s(start.earliest_ns, end.latest_ns)

    def _show(self) -> None:
        shown = self._carriers() if self.carrying.known else CarryingChanged(None, known=False)
        if shown != self._shown or (self._egress.ambiguous and not self._told_ambiguous):
            self._told_ambiguous = self._egress.ambiguous
            self._shown = shown
            self._book.effects.append(shown)

    @property
    def shown(self) -> CarryingChanged:
        """The carrying uplink as it is told."""
        return self._shown

    @property
    def quick(self) -> bool:
        """Whether unpinned probing should be quick."""
        carriers = [self._uplinks[name] for name in self._carriers().carriers if name in self._uplinks]
        return self.line.phase in QUICK or self.carrying.unsettled or any(carrier.quick for carrier in carriers)

    def stop(self, now_ns: int) -> None:
        """Tell the switches that still wait for a verdict, as far as the evidence goes."""
        while self._pending:
            self._judge(self._pending.pop(0), now_ns, sure=False)
        self._interruptions.stop()
