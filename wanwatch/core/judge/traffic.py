"""Ordinary traffic: who carries it, how long it was cut off, and what each switch was."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from wanwatch.core.judge.carrying import ROUTE, Carrying, Change, Word
from wanwatch.core.judge.egress import Egress
from wanwatch.core.judge.events import Book, Draft, Moment, resumed
from wanwatch.core.judge.evidence import AHEAD, NEVER, Said, Voice, of_line, voices
from wanwatch.core.judge.hand import Hand, Hands
from wanwatch.core.judge.interruption import Interruptions
from wanwatch.core.judge.line import QUICK, Line, Phase, Rules
from wanwatch.core.judge.run import SLACK_NS, Gap, Ledger
from wanwatch.core.judge.stays import Stays, bounds, coming_back, failure, half_cut_off, lasted
from wanwatch.core.judge.switch import cause, classify, way
from wanwatch.core.judge.uplink import Uplink
from wanwatch.core.model import (
    NS_PER_S,
    UNPINNED,
    CarryingChanged,
    Event,
    EventKind,
    JudgeSettings,
    Kind,
    Question,
    Role,
    RouteSeen,
    Sample,
    Series,
    State,
)

_REACH_NS = NS_PER_S
"""A silence belongs to a switch if it begins no later than this after the first word for the new uplink."""


@dataclass(slots=True)
class _Running:
    """A switch that was told while traffic was still cut off."""

    draft: Draft
    gap: Gap | None
    failed: Moment | None = None


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
        self._alive_unix_ns = alive_unix_ns
        self._egress = Egress()
        self._interruptions = Interruptions(book)
        self._voices: dict[Series, Voice] = {}
        self.line = Line()
        self._ledger = Ledger(1, 0)
        self._pending: list[Change] = []
        self._shown = CarryingChanged(None, known=False)
        self._told_ambiguous = False
        self._history: list[tuple[int, CarryingChanged]] = []
        self._running = [_Running(resumed(event), None) for event in open_events]
        self._dark = False
        self._darkens_ns = AHEAD
        self.moved: Change | None = None
        self.hands = Hands()
        self._stays = Stays()
        self._moves: list[Change] = []
        self._unheard_ns: dict[str, int] = {}
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
        lines = [question for question in questions if question.series.role is Role.LINE]
        self._voices = voices(self._voices, lines)
        self.line.reconfigure(tuple(self._voices.values()), Rules(settings.down_after_ns, 0))
        self._ledger.majority = self.line.majority
        self._ledger.lag_ns = max((q.timeout_ns for q in lines), default=0) + SLACK_NS
        stun = [question for question in questions if question.series.kind is Kind.STUN]
        self.carrying.round_ns = max((q.every_ns for q in stun), default=0)
        self.carrying.grace_ns = max((q.pulse_ns + q.timeout_ns for q in stun), default=0)

    def hear(self, sample: Sample) -> bool:
        """Take in an unpinned sample, of which LINE ones speak for the path; return False if it changed nothing."""
        self._interruptions.hear(sample)
        voice = self._voices.get(sample.series)
        if voice is None:
            return False
        said = of_line(sample)
        if said is Said.NOTHING:
            return False
        voice.note(said, sample)
        rtt_ns = (sample.rtt_ns or 0) if said is Said.LIFE else -1
        self._ledger.add(sample.sent_ns, sample.known_ns, rtt_ns, sample.series.target)
        self._ledger.settle(sample.known_ns)
        before = self.line.phase
        self.line.hear(voice, said, sample)
        if self._dark and self.line.phase is not Phase.DOWN:
            self._dark = False
            self._moved(self.carrying.lit(sample.known_ns))
        return before is not Phase.UP or said is not Said.LIFE or bool(self._running)

    def stun(self, sample: Sample) -> bool:
        """Take in a STUN sample, pinned or not; return False if it changed nothing."""
        told = self._egress.ambiguous
        if sample.series.uplink == UNPINNED and of_line(sample) is Said.SILENCE:
            self._unheard_ns[sample.series.target] = sample.sent_ns
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
            self._judge(self._pending.pop(0), now_ns)
        self._run_on()
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
        settled_ns = change.first.known_ns + self._ledger.lag_ns + _REACH_NS
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

    def _judge(self, change: Change, now_ns: int, *, sure: bool = True) -> None:
        """Tell what a switch was."""
        self._ledger.settle(now_ns)
        first_ns = change.first.sent_ns
        self._moves.append(change)
        gap = self._ledger.longest(change.last_ns, first_ns + _REACH_NS) if change.watched else None
        if gap is None and change.shared:
            gap = half_cut_off(change, failure(self._uplinks[change.from_uplink or ""]), self._unheard_ns.values())
        start, end = bounds(change, gap, self._alive_unix_ns)
        left = self._uplinks.get(change.from_uplink or "")
        lo_ns, hi_ns = change.last_ns, first_ns if end is None else end.latest_ns
        was = State.UNOBSERVED if left is None or not change.watched else left.was(lo_ns, hi_ns)
        if was is State.UP and not sure:
            was = State.UNOBSERVED
        fell = left is not None and was is State.DOWN
        hand = self.hands.behind(change, left.line.cut if left is not None and fell else None)
        draft = Draft(
            kind=classify(was, way(tuple(self._uplinks), change.from_uplink, change.to_uplink)), uplink=None,
            start=start, end=end, from_uplink=change.from_uplink, to_uplink=change.to_uplink,
            interruption_s=self._interruption(gap) if change.watched else None, detail={"cause": cause(was, hand)},
        )  # fmt: skip
        if hand is not Hand.NONE and draft.detail["cause"] == "by-hand":
            draft.detail["hand"] = hand.value
        if change.from_uplink is None:
            del draft.detail["cause"]  # a restoration leaves no line behind that could have caused it
        if not change.watched:
            draft.detail["watched"] = False
        else:
            self._interruptions.follow(draft, gap, lo_ns=lo_ns, hi_ns=first_ns + _REACH_NS, now_ns=now_ns)
        failed = failure(left) if left is not None and fell and draft.kind is EventKind.FAILOVER else None
        self._time(draft, change, gap, failed)
        self._told(draft, gap, failed)

    def _time(self, draft: Draft, change: Change, gap: Gap | None, failed: Moment | None) -> None:
        """Say how long the failure took to be noticed, or how long traffic was away from where it is back."""
        first = change.first
        arrival = Moment(first.sent_ns, first.sent_ns if change.last_ns == NEVER else change.last_ns, first.known_ns)
        if gap is not None and gap.end_ns is not None:
            arrival = Moment(gap.end_ns, gap.last_ns, gap.end_known_ns)
        absence = self._stays.moved(change, arrival)
        took = self._uplinks.get(change.to_uplink or "")
        if draft.kind is EventKind.FAILBACK and absence is not None and took is not None:
            draft.detail |= coming_back(absence, took, arrival)
        if failed is not None and draft.end is not None:
            draft.detail |= lasted("detection", failed, arrival)

    def _told(self, draft: Draft, gap: Gap | None, failed: Moment | None) -> None:
        if draft.from_uplink is None:
            self._end_blackouts(draft, gap)
        if draft.end is None:
            self._running.append(_Running(draft, gap, failed))
        self._book.tell(draft)

    def _interruption(self, gap: Gap | None) -> float | None:
        if gap is not None:
            return None if gap.end_ns is None else (gap.end_ns - gap.first_ns) / NS_PER_S
        return None if self.line.phase is Phase.BLIND or not self._voices else 0.0

    def _run_on(self) -> None:
        """Tell again the switches whose silence has ended."""
        for running in tuple(self._running):
            gap, draft, woken = running.gap, running.draft, self.line.woken
            if gap is not None and gap.end_ns is not None:
                draft.end = Moment(gap.end_ns, gap.last_ns, gap.end_known_ns)
                draft.interruption_s = self._interruption(gap)
                if running.failed is not None:
                    draft.detail |= lasted("detection", running.failed, draft.end)
            elif gap is None and draft.kind is not EventKind.BLACKOUT and self.line.phase is Phase.UP:
                # From before a restart, and the end of its silence was not watched.
                draft.end = Moment(woken.first_ns, woken.first_ns, woken.known_ns, floor_unix_ns=self._alive_unix_ns)
            else:
                continue
            self._running.remove(running)
            self._book.tell(draft)

    def _end_blackouts(self, restoration: Draft, gap: Gap | None) -> None:
        """A blackout whose silence was not timed ends with the restoration."""
        for running in tuple(self._running):
            if running.gap is None and running.draft.kind is EventKind.BLACKOUT:
                running.draft.end = restoration.end or restoration.start
                running.draft.interruption_s = None if gap is None else self._interruption(gap)
                self._running.remove(running)
                self._book.tell(running.draft)

    def interruption_s(self, uplink: str, start: Moment, end: Moment) -> float | None:
        """Seconds in which ordinary traffic got no answer; None if *uplink* did not carry it or nobody watched."""
        carrier = next((then for since_ns, then in reversed(self._history) if since_ns <= start.earliest_ns), None)
        if carrier is None or uplink not in carrier.carriers or not self._voices or self.line.phase is Phase.BLIND:
            return None
        self._ledger.settle(self.line.seen_ns)
        return self._ledger.total_ns(start.earliest_ns, end.latest_ns) / NS_PER_S

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
