"""One uplink: its line, its resolvers, its windows and its ladder, joined into states and events."""

from collections.abc import Sequence
from typing import Final, Protocol

from wanwatch.core.judge import ladder
from wanwatch.core.judge.events import Book, Draft, Moment, resumed
from wanwatch.core.judge.evidence import AHEAD, NEVER, Said, Voice, of_line, of_names
from wanwatch.core.judge.line import PUBLIC, QUICK, Line, Phase, Recovery, Rules, Turn
from wanwatch.core.judge.window import Look, Windows
from wanwatch.core.model import (
    Domain,
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
        questions: Its series, of all roles.
        settings: The rules' numbers.
        book: Where its events are told.
        since_ns: When watching it began.
        open_events: Its events that were open when an earlier run ended.
        alive_unix_ns: When that run was last known alive.
    """

    def __init__(
        self, name: str, questions: Sequence[Question], settings: JudgeSettings, book: Book, *, since_ns: int,
        open_events: Sequence[Event] = (), alive_unix_ns: int | None = None,
    ) -> None:  # fmt: skip
        self.name = name
        self.state = State.UNOBSERVED
        self.since_ns = since_ns
        self.interruptions: Interruptions | None = None
        self._book = book
        self._alive_unix_ns = alive_unix_ns
        self._link: LinkSeen | None = None
        self._ladder: dict[Series, Voice] = {}
        self._resolvers: dict[Series, Voice] = {}
        self.last_outage: tuple[int, int] | None = None
        drafts = {event.kind: resumed(event) for event in open_events}
        self.outage = drafts.get(EventKind.OUTAGE)
        self._unseen = drafts.get(EventKind.UNOBSERVED)
        self.impairment = drafts.get(EventKind.IMPAIRMENT)
        self._names_failure = drafts.get(EventKind.NAMES_FAILURE)
        self._settings = settings
        self.line = Line((), Rules(0, 0), since_ns)
        self.names = Line((), Rules(0, 0), since_ns)
        self.windows = Windows((), settings)
        self.reconfigure(questions, settings)

    def reconfigure(self, questions: Sequence[Question], settings: JudgeSettings) -> None:
        """Take other series or numbers; series that stay keep what was heard of them."""
        self._settings = settings
        self._ladder = _voices(self._ladder, questions)
        resolvers = [question for question in questions if question.series.role is Role.NAMES]
        self._resolvers = _voices(self._resolvers, resolvers)
        lines = self._of(Role.LINE)
        self.line.reconfigure(lines, Rules(settings.down_after_ns, settings.up_after_ns))
        # Names are asked more rarely: two questions and a waiting time at the least make a silence.
        rare_ns = max((2 * q.every_ns + q.timeout_ns for q in resolvers), default=0)
        rules = Rules(max(settings.down_after_ns, rare_ns), settings.up_after_ns)
        self.names.reconfigure(tuple(self._resolvers.values()), rules)
        self.windows.reconfigure(lines, settings)

    def _of(self, role: Role) -> list[Voice]:
        return [voice for series, voice in self._ladder.items() if series.role is role]

    def hear(self, sample: Sample) -> bool:
        """Take in a sample of this uplink; return False if it changed nothing, as nearly all do."""
        voice = self._ladder.get(sample.series)
        if voice is None:
            return False
        said = of_line(sample)
        voice.note(said, sample)
        role = sample.series.role
        if role is Role.LINE:
            return self._hear_line(voice, said, sample)
        if role is Role.NAMES:
            return self._hear_names(sample)
        return self._refine()

    def see(self, link: LinkSeen) -> None:
        """Take in what the kernel says of this uplink's interface."""
        self._link = link
        self._refine()

    def _hear_line(self, voice: Voice, said: Said, sample: Sample) -> bool:
        if sample.outcome is Outcome.ANSWERED:
            self.windows.add(voice.series.target, sample.sent_ns, sample.rtt_ns or 0)
        elif sample.outcome is not Outcome.NOT_SENT and sample.outcome is not Outcome.REFUSED:
            self.windows.add(voice.series.target, sample.sent_ns, -1)
        phase = self.line.phase
        turn = self.line.hear(voice, said, sample)
        if turn is not None:
            self._turned(turn)
        return self._refine() or said is not Said.LIFE or phase is not Phase.UP

    def _hear_names(self, sample: Sample) -> bool:
        if self.line.phase not in _WATCHED:
            return self._refine()
        voice = self._resolvers[sample.series]
        said = of_names(sample)
        voice.note(said, sample)
        phase = self.names.phase
        turn = self.names.hear(voice, said, sample)
        if turn is not None:
            self._names_turned(turn)
        return said is not Said.LIFE or phase is not Phase.UP

    def due_ns(self) -> int:
        """When `advance` has something to do; `AHEAD` if never."""
        names_ns = windows_ns = AHEAD
        if self.line.phase is Phase.UP:  # in doubt, the verdicts on names and windows wait
            names_ns, windows_ns = self.names.due_ns(), self.windows.due_ns()
        return min(self.line.due_ns(), names_ns, windows_ns)

    def advance(self, now_ns: int) -> None:
        """Decide what is due at *now_ns*."""
        turn = self.line.advance(now_ns)
        if turn is not None:
            self._turned(turn)
        if self.line.phase is not Phase.UP:
            return
        turn = self.names.advance(now_ns)
        if turn is not None:
            self._names_turned(turn)
        if self.windows.due_ns() <= now_ns:
            self._looked(*self.windows.next(self.impairment is not None))

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
        if self.outage is not None:
            self._end_outage(self.outage, back, watched=turn.before is Phase.PROVING)
        self.names.blind(self.line.seen_ns)
        self.windows.restart(since_ns)
        self._show(State.UP if self.impairment is None else State.IMPAIRED, since_ns)

    def _end_outage(self, outage: Draft, back: Recovery, *, watched: bool) -> None:
        floor = self._alive_unix_ns if back.silent_ns == NEVER else None
        earliest_ns = back.first_ns if back.silent_ns == NEVER else back.silent_ns
        outage.end = Moment(back.first_ns, earliest_ns, back.known_ns, floor_unix_ns=floor)
        if not watched:
            outage.detail["end_watched"] = False
        if self.interruptions is not None and outage.start.fixed is None:
            outage.interruption_s = self.interruptions.interruption_s(self.name, outage.start, outage.end)
        self.last_outage = (outage.start.earliest_ns, outage.end.latest_ns)
        self.outage = None
        self._book.tell(outage)

    def _fell(self) -> None:
        cut = self.line.cut
        self._see_again(cut.first_ns)
        start = Moment(cut.first_ns, cut.life_ns, cut.first_ns + cut.rtt_ns)
        if cut.life_ns == NEVER:
            start = Moment(cut.first_ns, cut.first_ns, cut.first_ns, floor_unix_ns=self._alive_unix_ns)
        self._cut_short(start)
        self.windows.stop()
        told = self.outage
        if told is None:
            self.outage = Draft(kind=EventKind.OUTAGE, uplink=self.name, start=start)
        self._show(State.DOWN, cut.first_ns)
        if not self._refine() and self.outage is not None:
            self._book.tell(self.outage)

    def _cut_short(self, end: Moment) -> None:
        """An outage or blindness takes the place of what was seen of a line that was up."""
        for draft in (self.impairment, self._names_failure):
            if draft is not None:
                draft.end = end
                draft.detail["end_watched"] = False
                self._book.tell(draft)
        self.impairment = self._names_failure = None
        self.names.blind(end.estimate_ns)

    def _blinded(self) -> None:
        since = Moment(self.line.seen_ns, self.line.seen_ns, self.line.seen_ns)
        self._cut_short(since)
        self.windows.stop()
        if self._unseen is None:
            self._unseen = Draft(kind=EventKind.UNOBSERVED, uplink=self.name, start=since)
            self._book.tell(self._unseen)
        self._show(State.UNOBSERVED, since.estimate_ns)

    def _see_again(self, since_ns: int) -> None:
        if self._unseen is not None:
            self._unseen.end = Moment(since_ns, since_ns, since_ns)
            self._book.tell(self._unseen)
            self._unseen = None

    def _names_turned(self, turn: Turn) -> None:
        failure, cut = self._names_failure, self.names.cut
        if turn.after is Phase.DOWN and failure is None:
            start = Moment(
                cut.first_ns, cut.first_ns if cut.life_ns == NEVER else cut.life_ns, cut.first_ns + cut.rtt_ns
            )
            self._names_failure = Draft(
                kind=EventKind.NAMES_FAILURE, uplink=self.name, start=start, domain=Domain.NAMES,
                detail={"resolvers": [series.target for series in self._resolvers]},
            )  # fmt: skip
            self._book.tell(self._names_failure)
        elif turn.after in _WATCHED and turn.before not in _WATCHED and failure is not None:
            back = self.names.recovery or self.names.woken
            self.names.recovery = None
            silent_ns = back.first_ns if back.silent_ns == NEVER else back.silent_ns
            failure.end = Moment(back.first_ns, silent_ns, back.known_ns)
            self._names_failure = None
            self._book.tell(failure)

    def _looked(self, start_ns: int, look: Look) -> None:
        end_ns = start_ns + self._settings.window_ns
        if self.impairment is None and look.bad:
            first_ns = start_ns if look.first_bad_ns is None else look.first_bad_ns
            start = Moment(first_ns, start_ns, end_ns if look.last_bad_ns is None else look.last_bad_ns)
            self.impairment = Draft(kind=EventKind.IMPAIRMENT, uplink=self.name, start=start, detail=dict(look.detail))
            self._book.tell(self.impairment)
            self._show(State.IMPAIRED, first_ns)
        elif self.impairment is not None and look.clean:
            # A whole clean window: the trouble was over when it began, at the latest one step before.
            step_ns = self._settings.window_ns // 6
            self.impairment.end = Moment(start_ns, start_ns - step_ns, end_ns)
            self._book.tell(self.impairment)
            self.impairment = None
            self._show(State.UP, start_ns)

    def _refine(self) -> bool:
        """Name the domain of an outage as soon as the ladder can; return whether anything was told.

        A named domain stays: the gateway that somebody restarts to mend a dead line is not where it broke.
        """
        outage = self.outage
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
        self.since_ns = since_ns
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
        for draft in (self.outage, self.impairment, self._names_failure, self._unseen):
            if draft is not None:
                draft.end = Moment(now_ns, min(now_ns, max(self.line.seen_ns, draft.start.earliest_ns)), now_ns)
                draft.detail |= {"end_watched": False, "ended_by": "configuration"}
                self._book.tell(draft)

    def was(self, lo_ns: int, hi_ns: int) -> State:
        """Return the worst that is known of the line between two instants, as far as it matters to a switch then."""
        if self.outage is not None and (self.outage.start.fixed is not None or self.outage.start.earliest_ns <= hi_ns):
            return State.DOWN
        if self.last_outage is not None and self.last_outage[0] <= hi_ns and self.last_outage[1] >= lo_ns:
            return State.DOWN
        if PUBLIC[self.line.phase] is State.UNOBSERVED:
            return State.UNOBSERVED
        if self.impairment is not None or self.windows.look(hi_ns - self._settings.window_ns, hi_ns).bad:
            return State.IMPAIRED
        return State.UP


def _voices(old: dict[Series, Voice], questions: Sequence[Question]) -> dict[Series, Voice]:
    voices = {}
    for question in questions:
        voice = old.get(question.series)
        if voice is None:
            voice = Voice(question)
        else:
            voice.ask_as(question)
        voices[question.series] = voice
    return voices
