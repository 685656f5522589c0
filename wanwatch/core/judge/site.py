"""The judge of one site: joins the machines, keeps them in the order of time, and hands out their effects."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

from wanwatch.core.judge.blame import Blame
from wanwatch.core.judge.carrying import Carrying
from wanwatch.core.judge.events import Book, Draft, Moment, at, resumed
from wanwatch.core.judge.evidence import NEVER
from wanwatch.core.judge.flapping import Flapping
from wanwatch.core.judge.proof import Proof
from wanwatch.core.judge.stuck import Stuck
from wanwatch.core.judge.traffic import Traffic
from wanwatch.core.judge.uplink import Uplink
from wanwatch.core.model import (
    NS_PER_S,
    SWITCHES,
    UNPINNED,
    Afterword,
    CarryingChanged,
    Effect,
    Event,
    EventKind,
    Json,
    JudgeSettings,
    Kind,
    LinkSeen,
    Observation,
    Pace,
    PinChanged,
    PinsSeen,
    Question,
    Role,
    RouteSeen,
    Sample,
    SpeedSeen,
    StateChanged,
)

STEP_NS: Final = NS_PER_S // 2
"""A wall clock that moves by more than this between two ticks was stepped; slewing moves it by 500 ppm at most."""

ALIVE_EVERY_NS: Final = 10 * NS_PER_S
"""How often the daemon marks itself alive: an earlier run may have lived for so long after its last mark."""

_OURS: Final = frozenset(
    {
        EventKind.OUTAGE,
        EventKind.IMPAIRMENT,
        EventKind.NAMES_FAILURE,
        EventKind.UNOBSERVED,
        EventKind.STUCK_FAILOVER,
        EventKind.FLAPPING,
        EventKind.PIN_LOST,
    }
)
"""The kinds that may be open on an uplink and are ours to end."""


@dataclass(frozen=True)
class Memory:
    """What is known from before a restart.

    Attributes:
        open_events: Events without an end.
        carrying: The uplink that carried; None for none.
        carrying_known: Whether `carrying` was known.
        shares: The uplinks that shared the load, if several did.
        last_alive_unix_ns: When the program was last known to run.
        proofs: What each pin showed when it was last proved, as `SiteJudge.proofs` returned it.
        usuals: What is usual for each uplink, as `SiteJudge.usuals` returned it.
    """

    open_events: tuple[Event, ...] = ()
    carrying: str | None = None
    carrying_known: bool = False
    shares: tuple[str, ...] = ()
    last_alive_unix_ns: int | None = None
    proofs: Mapping[str, Json] = field(default_factory=dict)
    usuals: Mapping[str, Json] = field(default_factory=dict)


class SiteJudge:
    """What the samples of one site mean.

    Feed it everything in the order in which it became known, and tick it every 0.1 to 0.2 s after feeding what waits.

    Args:
        site: The site's name.
        uplinks: Names of its uplinks, in order of preference.
        questions: All series that are asked, with how they are asked.
        settings: The rules' numbers.
        memory: What is known from before a restart.
    """

    def __init__(
        self, site: str, uplinks: Sequence[str], questions: Sequence[Question], settings: JudgeSettings, *,
        memory: Memory = Memory(),
    ) -> None:  # fmt: skip
        self._book = Book(site)
        self._memory = memory
        self._now_ns = NEVER
        self._next_ns = NEVER
        self._paced: frozenset[str] = frozenset()
        self._uplinks: dict[str, Uplink] = {}
        switches = [event for event in memory.open_events if event.kind in SWITCHES]
        dark = any(event.kind is EventKind.BLACKOUT for event in switches)
        self._traffic = Traffic(
            self._uplinks, self._book, open_events=switches, alive_unix_ns=memory.last_alive_unix_ns,
            carrying=Carrying(
                remembers=memory.carrying_known or dark, remembered=None if dark else memory.carrying,
                sharing=() if dark else memory.shares,
            ),
        )  # fmt: skip
        stuck = next((resumed(event) for event in memory.open_events if event.kind is EventKind.STUCK_FAILOVER), None)
        self._stuck = Stuck(
            self._uplinks, self._traffic, self._book, draft=stuck, alive_unix_ns=memory.last_alive_unix_ns
        )
        self._flapping = Flapping(
            self._uplinks, self._traffic, self._book, alive_unix_ns=memory.last_alive_unix_ns,
            open_events=[e for e in memory.open_events if e.uplink is None or e.uplink in uplinks],
        )  # fmt: skip
        self._blame = Blame(self._uplinks, self._book)
        self._proof = Proof(self._uplinks, self._book, proofs=memory.proofs, open_events=memory.open_events)
        self._arrange(uplinks, questions, settings)

    def feed(self, seen: Observation) -> list[Effect]:
        """Take in one observation and return what follows. An afterword changes no judgement (RFC 7680)."""
        if isinstance(seen, Sample):
            self._reach(seen.known_ns, seen.sent_unix_ns - seen.sent_ns)
            changed = self._hear(seen)
        elif isinstance(seen, Afterword):
            return []
        else:
            self._reach(seen.at_ns, seen.at_unix_ns - seen.at_ns)
            changed = self._see(seen)
        if changed:
            self._review()
        return self._book.drain()

    def tick(self, now_ns: int, now_unix_ns: int) -> list[Effect]:
        """Decide what has become due, and notice a step of the wall clock."""
        offset_ns = now_unix_ns - now_ns
        self._reach(now_ns, offset_ns)
        step_ns = offset_ns - self._book.offset_ns
        if abs(step_ns) > STEP_NS:
            self._stepped(step_ns, now_ns)
        self._book.offset_ns = offset_ns
        return self._book.drain()

    def reconfigure(
        self, uplinks: Sequence[str], questions: Sequence[Question], settings: JudgeSettings
    ) -> list[Effect]:
        """Take another configuration; what stays in it keeps all that is known of it."""
        self._arrange(uplinks, questions, settings)
        self._paced = frozenset()  # series that are new have to be told the pace
        if self._now_ns != NEVER:
            self._review()
        return self._book.drain()

    def stop(self, now_ns: int) -> list[Effect]:
        """The program ends: switches in suspense are told, nothing else is closed."""
        if self._now_ns != NEVER:
            self._reach(now_ns, self._book.offset_ns)
            self._traffic.stop(self._now_ns)
        return self._book.drain()

    @property
    def states(self) -> dict[str, StateChanged]:
        """Each uplink's state and since when it holds, in order of preference; empty before the first tick."""
        if self._now_ns == NEVER:
            return {}
        return {name: uplink.shown() for name, uplink in self._uplinks.items()}

    @property
    def pins(self) -> list[PinChanged]:
        """What is held of each uplink's pin."""
        return self._proof.told

    @property
    def proofs(self) -> dict[str, Json]:
        """What each pin showed when it was last proved, for the next run's `Memory`."""
        return self._proof.proofs

    @property
    def usuals(self) -> dict[str, Json]:
        """What is usual for each uplink, for the next run's `Memory`; to be kept whenever `Learnt` is told."""
        return {name: uplink.known for name, uplink in self._uplinks.items()}

    @property
    def carrying(self) -> CarryingChanged:
        """The uplink that carries ordinary traffic."""
        return self._traffic.shown

    def _stepped(self, step_ns: int, now_ns: int) -> None:
        self._book.rebase(self._book.offset_ns + step_ns)
        detail: dict[str, Json] = {"step_s": step_ns / NS_PER_S}
        when = at(now_ns)
        self._book.tell(Draft(kind=EventKind.CLOCK_STEP, uplink=None, start=when, end=when, detail=detail))

    def _hear(self, sample: Sample) -> bool:
        if sample.series.role is Role.EGRESS:
            lost = self._proof.hear(sample)
            # Over HTTP only pins are asked, so that it says nothing of who carries.
            return sample.series.kind is Kind.STUN and not lost and self._traffic.stun(sample)
        if sample.series.uplink == UNPINNED:
            return self._traffic.hear(sample)
        uplink = self._uplinks.get(sample.series.uplink)
        return uplink is not None and uplink.hear(sample)

    def _see(self, seen: RouteSeen | LinkSeen | PinsSeen | SpeedSeen) -> bool:
        if isinstance(seen, PinsSeen):
            for lost in self._proof.see(seen, self._traffic.shown.uplink):
                self._traffic.distrust(lost)
        elif isinstance(seen, SpeedSeen):
            if seen.uplink in self._uplinks:
                self._uplinks[seen.uplink].test(seen)
        elif isinstance(seen, LinkSeen):
            if seen.uplink in self._uplinks:
                self._uplinks[seen.uplink].see(seen)
                self._traffic.hands.link(seen)
        else:
            self._traffic.route(seen)
        return True

    def _reach(self, now_ns: int, offset_ns: int) -> None:
        """Decide all that is due by *now_ns*, in the order of time, as if ticks had been endless."""
        if self._now_ns == NEVER:
            self._start(now_ns, offset_ns)
        parts: tuple[Uplink | Traffic | Stuck | Flapping | Blame, ...] = ()
        while self._next_ns <= now_ns:
            parts = parts or (*self._uplinks.values(), self._traffic, self._stuck, self._flapping, self._blame)
            dues = [part.due_ns() for part in parts]
            self._next_ns = min(dues)
            if self._next_ns > now_ns:
                break
            at_ns = max(self._next_ns, self._now_ns)
            due = [part for part, due_ns in zip(parts, dues, strict=True) if due_ns <= at_ns]
            for part in due:
                part.advance(at_ns)
            self._now_ns = at_ns
            self._review(news=due != [self._blame])  # that somebody was blamed is no news to blame by
        self._now_ns = max(self._now_ns, now_ns)

    def _review(self, *, news: bool = True) -> None:
        """After a change: look at what hangs on several machines, and set the pace of probing."""
        self._traffic.review(self._now_ns)
        self._stuck.review(self._now_ns)
        self._flapping.review(self._now_ns)
        if news:
            self._blame.review(self._now_ns)
        self._next_ns = NEVER
        quick = {name for name, uplink in self._uplinks.items() if uplink.quick}
        if self._traffic.quick:
            quick.add(UNPINNED)
        for name in (*self._uplinks, UNPINNED):
            if (name in quick) != (name in self._paced):
                self._book.effects.append(Pace(name, quick=name in quick))
        self._paced = frozenset(quick)

    def _start(self, now_ns: int, offset_ns: int) -> None:
        self._book.offset_ns = offset_ns
        self._now_ns = now_ns
        self._tell_absence(now_ns)
        self._close_strangers(now_ns)
        self._memory = Memory()
        self._traffic.begin(now_ns)
        for uplink in self._uplinks.values():
            uplink.begin(now_ns)
        self._flapping.begin(now_ns)
        self._proof.begin(now_ns)

    def _close_strangers(self, now_ns: int) -> None:
        """What was open on an uplink that is not configured any more has no one left to end it."""
        for event in self._memory.open_events:
            if event.uplink is not None and event.uplink not in self._uplinks and event.kind in _OURS:
                draft = resumed(event)
                draft.end = Moment(now_ns, now_ns, now_ns, floor_unix_ns=self._memory.last_alive_unix_ns)
                draft.detail["ended_by"] = "configuration"
                self._book.tell(draft)

    def _tell_absence(self, now_ns: int) -> None:
        """The time between two runs was not watched."""
        alive_unix_ns, now_unix_ns = self._memory.last_alive_unix_ns, now_ns + self._book.offset_ns
        if alive_unix_ns is None or alive_unix_ns >= now_unix_ns:
            return
        alive_ns = alive_unix_ns - self._book.offset_ns
        start = Moment(alive_ns, alive_ns, min(alive_ns + ALIVE_EVERY_NS, now_ns))
        self._book.tell(
            Draft(
                kind=EventKind.UNOBSERVED, uplink=None, start=start, end=at(now_ns), detail={"because": "not running"}
            )
        )

    def _arrange(self, names: Sequence[str], questions: Sequence[Question], settings: JudgeSettings) -> None:
        """Bring the parts in line with the configuration."""
        old = dict(self._uplinks)
        self._uplinks.clear()  # shared with the traffic, so it is filled again and not replaced
        for name in names:
            self._uplinks[name] = old.pop(name) if name in old else self._new(name)
            self._uplinks[name].reconfigure([q for q in questions if q.series.uplink == name], settings)
        for gone in old.values():
            gone.close(self._now_ns)
        self._traffic.reconfigure(questions, settings)
        self._proof.reconfigure(names, questions, self._now_ns)
        self._stuck.stuck_after_ns = settings.stuck_after_ns
        self._flapping.reconfigure(names, settings, self._now_ns)
        self._next_ns = NEVER

    def _new(self, name: str) -> Uplink:
        uplink = Uplink(
            name, self._book, self._traffic,
            open_events=[e for e in self._memory.open_events if e.uplink == name and e.kind in _OURS],
            alive_unix_ns=self._memory.last_alive_unix_ns, known=self._memory.usuals.get(name),
        )  # fmt: skip
        if self._now_ns != NEVER:
            uplink.begin(self._now_ns)
        return uplink


__all__ = ["Memory", "SiteJudge"]
