"""One uplink: its line, its resolvers, its windows and its ladder, joined into states and events."""

from collections.abc import Sequence
from typing import Final, Protocol

from wanwatch.core.judge import ladder
from wanwatch.core.judge.events import Book, Draft, Moment, resumed
from wanwatch.core.judge.evidence import AHEAD, NEVER, Said, Voice, of_line, voices
from wanwatch.core.judge.impairment import Impairment
from wanwatch.core.judge.line import PUBLIC, QUICK, Line, Phase, Recovery, Rules, Turn
from wanwatch.core.judge.names import Names
from wanwatch.core.model import (
    Event,
    EventKind,
    Json,
    JudgeSettings,
    LinkSeen,
    Outcome,
    Question,
    Role,
    Sample,
    Series,
    SpeedSeen,
    State,
    StateChanged,
)

_WATCHED: Final = frozenset({Phase.UP, Phase.DOUBTED})
_RUNGS: Final = frozenset({Role.GATEWAY, Role.FIRST_HOP, Role.NAMES})


class Interruptions(Protocol):
    """Who knows how long ordinary traffic got no answer."""

    def interruption_s(self, uplink: str, start: Moment, end: Moment) -> float | None:
        """Seconds without an answer from *start* to *end*; None if *uplink* did not carry or nobody watched."""


class Uplink:
    """One uplink as the judge sees it.

    Args:
        name: Its name.
        book: Where its events are told.
        interruptions: Who knows how long ordinary traffic got no answer.
        open_events: Its events that were open when an earlier run ended.
        alive_unix_ns: When that run was last known alive.
        known: What that run knew of what is usual.

    Attributes:
        line: Its line machine.
        state: Its public state.
        since_ns: Since when that holds.
        trusted: Whether what is probed through its pin tells of this line at all.
        back: When its last outage that this run saw the end of was over.
        gateways: The addresses of its gateway, if one is asked.
    """

    def __init__(
        self, name: str, book: Book, interruptions: Interruptions, *, open_events: Sequence[Event] = (),
        alive_unix_ns: int | None = None, known: Json = None,
    ) -> None:  # fmt: skip
        self.name = name
        self.state = State.UNOBSERVED
        self.since_ns = NEVER
        self.line = Line()
        self.trusted = True
        self.back: Moment | None = None
        self.gateways: set[str] = set()
        drafts = {event.kind: resumed(event) for event in open_events}
        self._names = Names(name, book, drafts.get(EventKind.NAMES_FAILURE))
        self._impairment = Impairment(
            name, book, [resumed(e) for e in open_events if e.kind is EventKind.IMPAIRMENT], alive_unix_ns
        )
        self._impairment.recall(known)
        self._book = book
        self._interruptions = interruptions
        self._alive_unix_ns = alive_unix_ns
        self._link: LinkSeen | None = None
        self._ladder: dict[Series, Voice] = {}
        self._last_outage: tuple[int, int] | None = None
        self._outage = drafts.get(EventKind.OUTAGE)
        self._unseen = drafts.get(EventKind.UNOBSERVED)

    def begin(self, now_ns: int) -> None:
        """Watching begins."""
        self.since_ns = now_ns
        self.line.blind(now_ns)
        self._names.blind(now_ns)

    def reconfigure(self, questions: Sequence[Question], settings: JudgeSettings) -> None:
        """Take other series or numbers; series that stay keep what was heard of them."""
        self._ladder = voices(self._ladder, questions)
        self.gateways = {question.address for question in questions if question.series.role is Role.GATEWAY}
        lines = self._of(Role.LINE)
        self.line.reconfigure(lines, Rules(settings.down_after_ns, settings.up_after_ns))
        self._names.reconfigure([question for question in questions if question.series.role is Role.NAMES], settings)
        self._impairment.reconfigure(lines, settings)

    def _of(self, role: Role) -> list[Voice]:
        return [voice for series, voice in self._ladder.items() if series.role is role]

    def hear(self, sample: Sample) -> bool:
        """Take in a sample of this uplink; return False if it changed nothing, as nearly all do."""
        voice = self._ladder.get(sample.series)
        if voice is None or not self.trusted:
            return False
        said = of_line(sample)
        voice.note(said, sample)
        role = sample.series.role
        if role is Role.LINE:
            return self._hear_line(voice, said, sample)
        if role is Role.NAMES:
            return self._climbing or (self.line.phase in _WATCHED and self._names.hear(sample))
        return self._climbing

    def test(self, seen: SpeedSeen) -> None:
        """Take in a speed test; one of a line that is not up, or may be another one, says nothing of this line."""
        if self.trusted and self.line.phase in _WATCHED:
            self._shaded(self._impairment.hear(seen))

    def see(self, link: LinkSeen) -> None:
        """Take in what the kernel says of this uplink's interface."""
        self._link = link

    def distrust(self, since: Moment, now_ns: int) -> None:
        """Its pin is lost: what is probed through it tells of another line, and may have done so *since* then.

        The event of the lost pin stands for the time out of sight, so that none is told besides.
        """
        self.trusted = False
        self.line.blind(now_ns)
        self._cut_short(since, "pin-lost")
        self._show(State.UNOBSERVED, since.estimate_ns)

    def trust(self, now_ns: int) -> None:
        """Its pin is proved again: what is probed from *now_ns* on counts."""
        self.trusted = True
        self.line.blind(now_ns)

    def _hear_line(self, voice: Voice, said: Said, sample: Sample) -> bool:
        if sample.outcome is Outcome.ANSWERED:
            self._impairment.add(voice.series.target, sample.sent_ns, sample.rtt_ns or 0)
        elif sample.outcome is not Outcome.NOT_SENT and sample.outcome is not Outcome.REFUSED:
            self._impairment.add(voice.series.target, sample.sent_ns, -1)
        phase = self.line.phase
        turn = self.line.hear(voice, said, sample)
        if turn is not None:
            self._turned(turn)
        return said is not Said.LIFE or phase is not Phase.UP

    def due_ns(self) -> int:
        """When `advance` has something to do; `AHEAD` if never."""
        if not self.trusted:
            return AHEAD
        names_ns = windows_ns = AHEAD
        if self.line.phase is Phase.UP:  # in doubt, the verdicts on names and windows wait
            names_ns, windows_ns = self._names.due_ns(), self._impairment.due_ns()
        return min(self.line.due_ns(), names_ns, windows_ns)

    def advance(self, now_ns: int) -> None:
        """Decide what is due at *now_ns*."""
        turn = self.line.advance(now_ns)
        if turn is not None:
            self._turned(turn)
        if self.line.phase is not Phase.UP:
            return
        if self._names.due_ns() <= now_ns:
            self._names.expect(self._impairment.loss_ratio(now_ns))
            self._names.advance(now_ns)
        self._shaded(self._impairment.advance(now_ns))

    def _turned(self, turn: Turn) -> None:
        if turn.after is Phase.BLIND:
            self._blinded()
        elif turn.after is Phase.DOWN and turn.before is not Phase.PROVING:
            self._fell()
        elif turn.after in _WATCHED and turn.before not in _WATCHED:
            self._rose(turn)

    def _rose(self, turn: Turn) -> None:
        """Up again, or seen up for the first time."""
        # A line that was proving itself when sight was lost, and answers after: it came back when it first did.
        back = self.line.recovery or self.line.woken
        self.line.recovery = None
        since_ns = back.first_ns if turn.before is Phase.PROVING else self.line.woken.first_ns
        self._see_again(since_ns)
        if self._outage is not None:
            self._end_outage(self._outage, back, watched=turn.before is Phase.PROVING)
        self._names.blind(self.line.seen_ns)
        self._impairment.restart(since_ns)
        self._show(self._shade(), since_ns)

    def _shaded(self, turned: Moment | None) -> None:
        """Show that the line is impaired since then, or is not any more; another impairment may stand as it did."""
        if turned is not None and self._shade() is not self.state:
            self._show(self._shade(), turned.estimate_ns)

    def _shade(self) -> State:
        return State.IMPAIRED if self._impairment.on else State.UP

    def _end_outage(self, outage: Draft, back: Recovery, *, watched: bool) -> None:
        floor = self._alive_unix_ns if back.silent_ns == NEVER else None
        earliest_ns = back.first_ns if back.silent_ns == NEVER else back.silent_ns
        outage.end = Moment(back.first_ns, earliest_ns, back.known_ns, floor_unix_ns=floor)
        if not watched:
            outage.detail["end_watched"] = False
        if outage.start.fixed is None:
            outage.interruption_s = self._interruptions.interruption_s(self.name, outage.start, outage.end)
        self._last_outage = (outage.start.earliest_ns, outage.end.latest_ns)
        self.back = outage.end
        self._outage = None
        self._book.tell(outage)

    def _fell(self) -> None:
        cut = self.line.cut
        self._see_again(cut.first_ns)
        start = Moment(cut.first_ns, cut.life_ns, cut.by_ns)
        if cut.life_ns == NEVER:
            start = Moment(cut.first_ns, cut.first_ns, cut.first_ns, floor_unix_ns=self._alive_unix_ns)
        self._cut_short(start, "outage")
        if self._outage is None:
            self._outage = Draft(kind=EventKind.OUTAGE, uplink=self.name, start=start)
        elif self._outage.domain is not None:  # resumed, and known already where it broke
            self._book.tell(self._outage)
        self._show(State.DOWN, cut.first_ns)  # the outage is told once it has been looked at where it broke

    def _cut_short(self, end: Moment, ended_by: str) -> None:
        """An outage or blindness takes the place of what was seen of a line that was up."""
        self._names.cut_short(end, ended_by)
        self._impairment.cut_short(end, ended_by)

    def _blinded(self) -> None:
        seen_ns = self.line.seen_ns
        since = Moment(seen_ns, seen_ns, seen_ns + self.line.every_ns)
        self._cut_short(since, "unobserved")
        if self._unseen is None:
            self._unseen = Draft(kind=EventKind.UNOBSERVED, uplink=self.name, start=since)
            self._book.tell(self._unseen)
        self._show(State.UNOBSERVED, since.estimate_ns)

    def _see_again(self, since_ns: int) -> None:
        if self._unseen is not None:
            self._unseen.end = Moment(since_ns, since_ns, since_ns)
            self._book.tell(self._unseen)
            self._unseen = None

    @property
    def _climbing(self) -> bool:
        """Whether news of any rung may tell where an outage broke."""
        return self._outage is not None and self._outage.domain is None and self.line.phase is Phase.DOWN

    @property
    def outage(self) -> Draft | None:
        """The outage that goes on."""
        return self._outage

    @property
    def targets(self) -> set[str]:
        """The far targets that speak for the line."""
        return {voice.series.target for voice in self.line.voices}

    def answered_since(self, since_ns: int) -> set[str]:
        """The far targets that have answered a send since then."""
        return {voice.series.target for voice in self.line.voices if voice.life_ns >= since_ns}

    @property
    def heard_out(self) -> bool:
        """Whether each rung that is known to answer at all has had its word since the line fell silent."""
        rungs = [voice for voice in self._ladder.values() if voice.series.role in _RUNGS and voice.life_ns != NEVER]
        return all(max(voice.life_ns, voice.silent_ns) >= self.line.cut.first_ns for voice in rungs)

    def climb(self) -> bool:
        """Write into the outage what the rungs have said since the line fell silent; return whether that is news."""
        if self._outage is None:
            return False
        since_ns, lines, before = self.line.cut.first_ns, self._of(Role.LINE), self._outage.ladder
        rungs = (
            ladder.of_link(self._link, lines, since_ns),
            ladder.of_voices("gateway", self._of(Role.GATEWAY), since_ns),
            ladder.of_voices("first-hop", self._of(Role.FIRST_HOP), since_ns),
            ladder.of_voices("resolver", self._of(Role.NAMES), since_ns),
            ladder.of_voices("far-targets", lines, since_ns),
        )
        if before and ladder.mending(rungs):
            return False
        self._outage.ladder = rungs
        return [rung.said for rung in before] != [rung.said for rung in rungs]

    def _show(self, state: State, since_ns: int) -> None:
        self.since_ns = max(since_ns, self.since_ns)  # states follow each other, whatever the windows overlap
        if state is not self.state:
            self.state = state
            self._book.effects.append(self.shown())

    def shown(self) -> StateChanged:
        """Return the state as it is told."""
        return StateChanged(self.name, self.state, self.since_ns + self._book.offset_ns)

    @property
    def known(self) -> dict[str, Json]:
        """What is usual for it, for the next run."""
        return self._impairment.known

    @property
    def quick(self) -> bool:
        """Whether its probing should be quick."""
        return self.line.phase in QUICK

    def close(self, now_ns: int) -> None:
        """The configuration no longer has this uplink: what was open ends unwatched."""
        end = Moment(now_ns, self.line.seen_ns, now_ns)
        self._cut_short(end, "configuration")
        for draft in (self._outage, self._unseen):
            if draft is not None:
                draft.end = end
                draft.detail["ended_by"] = "configuration"
                self._book.tell(draft)

    def was_down(self, lo_ns: int, hi_ns: int) -> bool:
        """Return whether an outage, told by now, touches the time between two instants."""
        outage, last = self._outage, self._last_outage
        if outage is not None and (outage.start.fixed is not None or outage.start.earliest_ns <= hi_ns):
            return True
        return last is not None and last[0] <= hi_ns and last[1] >= lo_ns

    def was(self, lo_ns: int, hi_ns: int) -> State:
        """Return the worst that is known of the line between two instants, as far as it matters to a switch then."""
        if self.was_down(lo_ns, hi_ns):
            return State.DOWN
        if PUBLIC[self.line.phase] is State.UNOBSERVED:
            return State.UNOBSERVED
        if self._impairment.was(hi_ns):
            return State.IMPAIRED
        return State.UP
