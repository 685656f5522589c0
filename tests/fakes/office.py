"""A simulated office: two lines, a gateway, targets, and a measurer that probes as the judge asks it to.

Everything follows from the arguments: instants are seconds of a clock that starts at 0, chance has a fixed start.
"""

import heapq
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from itertools import count
from random import Random

from wanwatch.core.judge import SiteJudge
from wanwatch.core.model import (
    NS_PER_S,
    UNPINNED,
    CarryingChanged,
    Effect,
    Event,
    EventKind,
    Json,
    Kind,
    Observation,
    Outcome,
    Pace,
    Pin,
    Question,
    Role,
    Sample,
    Series,
    StateChanged,
    Tell,
)

WALL_S = 1_790_000_000
"""The wall clock when the office's own clock shows 0."""

Spans = Sequence[tuple[float, float]]
FOREVER = 1e9


def ns(seconds: float) -> int:
    """Seconds of the office's clock as monotonic nanoseconds."""
    return round(seconds * NS_PER_S)


def within(at_s: float, spans: Spans) -> bool:
    """Whether the instant lies in one of the spans."""
    return any(start <= at_s < end for start, end in spans)


@dataclass
class Way:
    """One line, as it truly is.

    Attributes:
        rtt_s: Its round-trip time.
        cuts: When nothing passes beyond the gateway.
        gateway_cuts: When the gateway itself is dead.
        losses: (start, end, ratio) of random loss.
        slow: (start, end, seconds) of added delay.
        blind: When we cannot send at all, for a reason of our own.
        address: The public address that STUN sees.
    """

    rtt_s: float = 0.01
    cuts: Spans = ()
    gateway_cuts: Spans = ()
    losses: Sequence[tuple[float, float, float]] = ()
    slow: Sequence[tuple[float, float, float]] = ()
    blind: Spans = ()
    address: str = "192.0.2.10"

    def delay_s(self, at_s: float) -> float:
        """Its round-trip time at that instant."""
        return self.rtt_s + sum(extra for start, end, extra in self.slow if start <= at_s < end)

    def passes(self, at_s: float, *, near: bool) -> bool:
        """Whether a packet sent then comes back: the line must live all the way there and back."""
        cuts = self.gateway_cuts if near else (*self.cuts, *self.gateway_cuts)
        back_s = at_s + self.delay_s(at_s)
        return not any(start <= back_s and at_s < end for start, end in cuts)

    def loss(self, at_s: float) -> float:
        """The share of packets that chance loses then."""
        return max((ratio for start, end, ratio in self.losses if start <= at_s < end), default=0.0)


def line_questions(
    uplink: str, targets: Sequence[str] = ("near", "mid", "far"), every_s: float = 1.0, pulse_s: float = 0.2,
    timeout_s: float = 2.0, role: Role = Role.LINE, kind: Kind = Kind.ECHO,
) -> list[Question]:  # fmt: skip
    """Questions to some targets over one uplink."""
    every_ns, pulse_ns, timeout_ns = ns(every_s), ns(min(pulse_s, every_s)), ns(timeout_s)
    return [
        Question(Series(uplink, target, kind, role), Pin(), "192.0.2.1", None, every_ns, pulse_ns, timeout_ns)
        for target in targets
    ]


def full_questions(uplinks: Sequence[str] = ("fibre", "copper")) -> list[Question]:
    """What a daemon asks by default: each line, its gateway, first hop and resolvers, STUN, and the unpinned path."""
    questions: list[Question] = []
    for uplink in uplinks:
        questions += line_questions(uplink)
        questions += line_questions(uplink, ("gateway",), role=Role.GATEWAY)
        questions += line_questions(uplink, ("hop",), role=Role.FIRST_HOP)
        questions += line_questions(uplink, ("resolver-1", "resolver-2"), every_s=10.0, role=Role.NAMES, kind=Kind.DNS)
        questions += line_questions(uplink, ("stun-1", "stun-2"), every_s=5.0, role=Role.EGRESS, kind=Kind.STUN)
    questions += line_questions(UNPINNED, ("near",), every_s=0.2)
    questions += line_questions(UNPINNED, ("stun-1", "stun-2"), every_s=5.0, role=Role.EGRESS, kind=Kind.STUN)
    return questions


@dataclass
class Office:
    """The office and its measurer.

    Attributes:
        judge: The judge on trial.
        ways: The lines by name.
        questions: What is asked.
        moves: (instant, uplink or None): where the gateway sends ordinary traffic from then on.
        flows: By target, such moves of ordinary traffic to it alone: a gateway that spreads the load by destination.
        mixed: When the gateway sends each question of ordinary traffic over any line.
        dead: By target, when that target alone is dead; "uplink/target" for one uplink only.
        late: By "uplink/target", (start, end, seconds) of delay that this target alone adds.
        breaks: When the connection that ordinary traffic holds breaks, and is opened anew.
        wall_steps: (instant, seconds): steps of the wall clock.
        seen: Other observations, by instant.
        tick_s: How often the judge is ticked.
        start_s: When the daemon started.
        wall_ns0: The wall clock's reading when the office's clock shows 0.
        chance: The start of chance.
        effects: What the judge answered, with the instant.
    """

    judge: SiteJudge
    ways: dict[str, Way]
    questions: Sequence[Question]
    moves: Sequence[tuple[float, str | None]] = ((0.0, "fibre"),)
    flows: dict[str, Sequence[tuple[float, str | None]]] = field(default_factory=dict)
    mixed: Spans = ()
    dead: dict[str, Spans] = field(default_factory=dict)
    late: dict[str, Sequence[tuple[float, float, float]]] = field(default_factory=dict)
    breaks: Sequence[float] = ()
    wall_steps: Sequence[tuple[float, float]] = ()
    seen: Sequence[tuple[float, Callable[[int, int], Observation]]] = ()
    tick_s: float = 0.1
    start_s: float = 0.0
    wall_ns0: int = WALL_S * NS_PER_S
    chance: int = 1
    effects: list[tuple[float, Effect]] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Lay out the first sends, spread over the interval so that series do not fire together."""
        self._random = Random(self.chance)  # noqa: S311 -- a simulation that must repeat itself
        self._order = count()
        self._quick: set[str] = set()
        self._queue: list[tuple[float, int, str, object]] = []
        self._next: dict[Series, float] = {}
        for at, question in enumerate(self.questions):
            interval_s = question.every_ns / NS_PER_S
            self._plan(question, self.start_s + interval_s * ((at * 0.381966) % 1.0))
        self._push(self.start_s, "tick", None)
        for at_s, make in self.seen:
            self._push(at_s, "see", make)

    def _push(self, at_s: float, what: str, thing: object) -> None:
        heapq.heappush(self._queue, (at_s, next(self._order), what, thing))

    def _plan(self, question: Question, at_s: float) -> None:
        self._next[question.series] = at_s
        self._push(at_s, "send", question)

    def wall_ns(self, at_s: float) -> int:
        """The wall clock's reading (Unix nanoseconds)."""
        return self.wall_ns0 + ns(at_s) + sum(ns(step) for since, step in self.wall_steps if since <= at_s)

    def run(self, until_s: float) -> "Office":
        """Let time pass until *until_s*."""
        while self._queue and self._queue[0][0] <= until_s:
            at_s, _, what, thing = heapq.heappop(self._queue)
            getattr(self, f"_do_{what}")(at_s, thing)
        return self

    def _do_tick(self, at_s: float, _: object) -> None:
        self._take(at_s, self.judge.tick(ns(at_s), self.wall_ns(at_s)))
        self._push(at_s + self.tick_s, "tick", None)

    def _do_see(self, at_s: float, make: Callable[[int, int], Observation]) -> None:
        self._take(at_s, self.judge.feed(make(ns(at_s), self.wall_ns(at_s))))

    def _do_known(self, at_s: float, sample: Sample) -> None:
        self._take(at_s, self.judge.feed(sample))

    def _do_send(self, at_s: float, question: Question) -> None:
        if self._next[question.series] != at_s:
            return  # planned anew since
        interval_ns = question.pulse_ns if question.series.uplink in self._quick else question.every_ns
        self._plan(question, at_s + interval_ns / NS_PER_S)
        sample = self._ask(question, at_s)
        self._push(sample.known_ns / NS_PER_S, "known", sample)

    def carrier(self, at_s: float, target: str = "") -> str | None:
        """Where the gateway sends ordinary traffic to a target then."""
        if within(at_s, self.mixed):
            return self._random.choice(list(self.ways))
        moves = self.flows.get(target, self.moves)
        return next((uplink for since, uplink in reversed(moves) if since <= at_s), None)

    def _ask(self, question: Question, at_s: float) -> Sample:
        series = question.series
        sent_ns = ns(at_s)
        unix_ns = self.wall_ns(at_s)
        name = self.carrier(at_s, series.target) if series.uplink == UNPINNED else series.uplink
        way = self.ways.get(name or "")
        if way is not None and within(at_s, way.blind) and series.uplink != UNPINNED:
            return Sample(series, sent_ns, unix_ns, sent_ns, Outcome.NOT_SENT)
        near = series.role is Role.GATEWAY
        spans = (*self.dead.get(series.target, ()), *self.dead.get(f"{series.uplink}/{series.target}", ()))
        lost = way is None or within(at_s, spans) or not way.passes(at_s, near=near)
        chance = self._random.random()
        jitter_s = self._random.random() * 0.001
        if way is None or lost or chance < way.loss(at_s):
            return Sample(series, sent_ns, unix_ns, sent_ns + question.timeout_ns, Outcome.LOST)
        late = self.late.get(f"{series.uplink}/{series.target}", ())
        late_s = sum(extra for start, end, extra in late if start <= at_s < end)
        rtt_ns = ns(way.delay_s(at_s) + jitter_s + late_s)
        facts: dict[str, Json] | None = {"address": way.address} if series.role is Role.EGRESS else None
        if series.kind is Kind.HELD:
            facts = {"connection": sum(1 for broken_s in self.breaks if broken_s <= at_s)}
        return Sample(series, sent_ns, unix_ns, sent_ns + rtt_ns, Outcome.ANSWERED, rtt_ns, facts=facts)

    def _take(self, at_s: float, effects: Sequence[Effect]) -> None:
        for effect in effects:
            self.effects.append((at_s, effect))
            if isinstance(effect, Pace):
                self._pace(at_s, effect)

    def _pace(self, at_s: float, pace: Pace) -> None:
        (self._quick.add if pace.quick else self._quick.discard)(pace.uplink)
        for question in self.questions:
            if question.series.uplink == pace.uplink and pace.quick:
                soon_s = at_s + question.pulse_ns / NS_PER_S
                if self._next[question.series] > soon_s:
                    self._plan(question, soon_s)

    def events(self, *kinds: EventKind) -> list[Event]:
        """The last telling of each event of these kinds (all if none is named), by first telling."""
        last: dict[str, Event] = {}
        for _, effect in self.effects:
            if isinstance(effect, Tell):
                last[effect.event.id] = effect.event
        return [event for event in last.values() if not kinds or event.kind in kinds]

    def states(self, uplink: str) -> list[StateChanged]:
        """The states that one uplink was told to be in, in order."""
        return [effect for _, effect in self.effects if isinstance(effect, StateChanged) and effect.uplink == uplink]

    def carried(self) -> list[CarryingChanged]:
        """What was told of the carrying uplink, in order."""
        return [effect for _, effect in self.effects if isinstance(effect, CarryingChanged)]


def since_start(unix_ns: int) -> float:
    """A wall-clock instant as seconds of the office's clock, if the wall clock was not stepped."""
    return (unix_ns - WALL_S * NS_PER_S) / NS_PER_S
