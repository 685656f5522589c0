"""One uplink: its line, its resolvers, its windows and its ladder, joined into states and events."""

from collections.abc import Sequence
from typing import Final, Protocol

from wanwatch.core.judge import ladder
from wanwatch.core.judge.events import Book, Draft, Moment, resumed
from wanwatch.core.judge.evidence import AHEAD, NEVER, Said, Voice, of_line, voices
from wanwatch.core.judge.line import PUBLIC, QUICK, Line, Phase, Recovery, Rules, Turn
from wanwatch.core.judge.names import Names
from wanwatch.core.judge.window import STEPS, Look, Windows, worse
from wanwatch.core.model import (
    Event,
    EventKind,
    JudgeSettings,
    LinkSeen,
    Outcome,
    Question,
    Role,
    Sample,
    Series,
    State,
    StateChanged,
)

_WATCHED: Final = frozenset({Phase.UP, Phase.DOUBTED})


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

    Attributes:
        line: Its line machine.
        state: Its public state.
        since_ns: Since when that holds.
        trusted: Whether what is probed through its pin tells of this line at all.
        back: When its last outage that this run saw the end of was over.
    """

    def __init__(
        self, name: str, book: Book, interruptions: Interruptions, *, open_events: Sequence[Event] = (),
        alive_unix_ns: int | None = None,
    ) -> None:  # fmt: skip
        self.name = name
        self.state = State.UNOBSERVED
        self.since_ns = NEVER
        self.line = Line()
        self.trusted = True
        self.back: Moment | None = None
        drafts = {event.kind: resumed(event) for event in open_events}
        self._names = Names(name, book, drafts.get(EventKind.NAMES_FAILURE))
        self._windows = Windows()
        self._book = book
        self._interruptions = interruptions
        self._alive_unix_ns = alive_unix_ns
        self._link: LinkSeen | None = None
        self._ladder: dict[Series, Voice] = {}
        self._last_outage: tuple[int, int] | None = None
        self._outage = drafts.get(EventKind.OUTAGE)
        self._unseen = drafts.get(EventKind.UNOBSERVED)
        self._calm_ns = AHEAD
        self._impairment = drafts.get(EventKind.IMPAIRMENT)
        self._settings = JudgeSettings()

    def begin(self, now_ns: int) -> None:
        """Watching begins."""
        self.since_ns = now_ns
        self.line.blind(now_ns)
        self._names.blind(now_ns)

    def reconfigure(self, questions: Sequence[Question], settings: JudgeSettings) -> None:
        """Take other series or numbers; series that stay keep what was heard of them."""
        self._settings = settings
        self._ladder = voices(self._ladder, questions)
        lines = self._of(Role.LINE)
        self.line.reconfigure(lines, Rules(settings.down_after_ns, settings.up_after_ns))
        self._names.reconfigure([question for question in questions if question.series.role is Role.NAMES], settings)
        self._windows.reconfigure(lines, settings)

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
            return self._refine() or (self.line.phase in _WATCHED and self._names.hear(sample))
        return self._refine()

    def see(self, link: LinkSeen) -> None:
        """Take in what the kernel says of this uplink's interface."""
        self._link = link
        self._refine()

    def distrust(self, since: Moment, now_ns: int) -> None:
        """Its pin is lost: what is probed through it tells of another line, and may have done so *since* then.

        The event of the lost pin stands for the time out of sight, so that none is told besides.
        """
        self.trusted = False
        self.line.blind(now_ns)
        self._cut_short(since, "pin-lost")
        self._windows.stop()
        self._show(State.UNOBSERVED, since.estimate_ns)

    def trust(self, now_ns: int) -> None:
        """Its pin is proved again: what is probed from *now_ns* on counts."""
        self.trusted = True
        self.line.blind(now_ns)

    def _hear_line(self, voice: Voice, said: Said, sample: Sample) -> bool:
        if sample.outcome is Outcome.ANSWERED:
            self._windows.add(voice.series.target, sample.sent_ns, sample.rtt_ns or 0)
        elif sample.outcome is not Outcome.NOT_SENT and sample.outcome is not Outcome.REFUSED:
            self._windows.add(voice.series.target, sample.sent_ns, -1)
        phase = self.line.phase
        turn = self.line.hear(voice, said, sample)
        if turn is not None:
            self._turned(turn)
        return self._refine() or said is not Said.LIFE or phase is not Phase.UP

    def due_ns(self) -> int:
        """When `advance` has something to do; `AHEAD` if never."""
        if not self.trusted:
            return AHEAD
        names_ns = windows_ns = AHEAD
        if self.line.phase is Phase.UP:  # in doubt, the verdicts on names and windows wait
            names_ns, windows_ns = self._names.due_ns(), self._windows.due_ns()
        return min(self.line.due_ns(), names_ns, windows_ns)

    def advance(self, now_ns: int) -> None:
        """Decide what is due at *now_ns*."""
        turn = self.line.advance(now_ns)
        if turn is not None:
            self._turned(turn)
        if self.line.phase is not Phase.UP:
            return
        self._names.advance(now_ns)
        if self._windows.due_ns() <= now_ns:
            self._looked(*self._windows.next(impaired=self._impairment is not None))

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
        self._windows.restart(since_ns)
        self._calm_ns = since_ns
        self._show(State.UP if self._impairment is None else State.IMPAIRED, since_ns)

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
        self._windows.stop()
        if self._outage is None:
            self._outage = Draft(kind=EventKind.OUTAGE, uplink=self.name, start=start)
        self._show(State.DOWN, cut.first_ns)
        if not self._refine() and self._outage is not None:
            self._book.tell(self._outage)

    def _cut_short(self, end: Moment, ended_by: str) -> None:
        """An outage or blindness takes the place of what was seen of a line that was up."""
        self._names.cut_short(end, ended_by)
        if self._impairment is not None:
            self._impairment.end = end
            self._impairment.detail["ended_by"] = ended_by
            self._book.tell(self._impairment)
            self._impairment = None

    def _blinded(self) -> None:
        seen_ns = self.line.seen_ns
        since = Moment(seen_ns, seen_ns, seen_ns + self.line.every_ns)
        self._cut_short(since, "unobserved")
        self._windows.stop()
        if self._unseen is None:
            self._unseen = Draft(kind=EventKind.UNOBSERVED, uplink=self.name, start=since)
            self._book.tell(self._unseen)
        self._show(State.UNOBSERVED, since.estimate_ns)

    def _see_again(self, since_ns: int) -> None:
        if self._unseen is not None:
            self._unseen.end = Moment(since_ns, since_ns, since_ns)
            self._book.tell(self._unseen)
            self._unseen = None

    def _looked(self, start_ns: int, look: Look) -> None:
        end_ns = start_ns + self._settings.window_ns
        if self._impairment is None and look.bad:
            first_ns = start_ns if look.first_bad_ns is None else look.first_bad_ns
            # Windows that were neither bad nor clean may hold its beginning, and the last clean one the first of it.
            earliest_ns = min(start_ns, self._calm_ns)
            start = Moment(first_ns, earliest_ns, end_ns if look.last_bad_ns is None else look.last_bad_ns)
            self._impairment = Draft(kind=EventKind.IMPAIRMENT, uplink=self.name, start=start, detail=dict(look.detail))
            self._book.tell(self._impairment)
            self._show(State.IMPAIRED, first_ns)
        elif self._impairment is not None and look.bad:
            self._impairment.detail = worse(self._impairment.detail, look.detail)
        elif self._impairment is not None and look.clean:
            # A whole clean window: the trouble was over when it began, at the latest one step before.
            self._impairment.end = Moment(start_ns, start_ns - self._settings.window_ns // STEPS, end_ns)
            self._book.tell(self._impairment)
            self._impairment = None
            self._show(State.UP, start_ns)
        if look.clean:
            self._calm_ns = start_ns

    def _refine(self) -> bool:
        """Name the domain of an outage as soon as the ladder can; return whether anything was told.

        A named domain stays: the gateway that somebody restarts to mend a dead line is not where it broke.
        """
        outage = self._outage
        if outage is None or outage.domain is not None or self.line.phase is not Phase.DOWN:
            return False
        rungs = self._climbed()
        if tuple(rung.said for rung in rungs) == tuple(rung.said for rung in outage.ladder):
            return False
        found = ladder.climb(rungs)
        outage.ladder, outage.domain = rungs, found.domain
        outage.detail.pop("may_be", None)
        outage.detail.pop("advice", None)
        if found.may_be:
            outage.detail["may_be"] = [str(domain) for domain in found.may_be]
            unknown = ", ".join(rung.name for rung in rungs if rung.said == ladder.UNKNOWN)
            outage.detail["advice"] = f"cannot tell: nothing is known of {unknown}; configure it for this uplink"
        self._book.tell(outage)
        return True

    def _climbed(self) -> tuple[ladder.Rung, ...]:
        since_ns, lines = self.line.cut.first_ns, self._of(Role.LINE)
        return (
            ladder.of_link(self._link, lines, since_ns),
            ladder.of_voices("gateway", self._of(Role.GATEWAY), since_ns),
            ladder.of_voices("first-hop", self._of(Role.FIRST_HOP), since_ns),
            ladder.of_voices("resolver", self._of(Role.NAMES), since_ns),
            ladder.of_voices("far-targets", lines, since_ns),
        )

    def _show(self, state: State, since_ns: int) -> None:
        self.since_ns = max(since_ns, self.since_ns)  # states follow each other, whatever the windows overlap
        if state is not self.state:
            self.state = state
            self._book.effects.append(self.shown())

    def shown(self) -> StateChanged:
        """Return the state as it is told."""
        return StateChanged(self.name, self.state, self.since_ns + self._book.offset_ns)

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
        if self._impairment is not None or self._windows.look(hi_ns - self._settings.window_ns, hi_ns).bad:
            return State.IMPAIRED
        return State.UP
