"""Flapping: a line that goes down and up again and again, or traffic that keeps moving to and fro.

One spell is one event, beside the outages and switches that it is made of. Only what the judge told counts: a line's
outages begin and end, traffic moves from one line to another. A spell is over when nothing has changed for as long as
the limit looks back; then it ended with its last change.
"""

from collections import deque
from collections.abc import Iterable, Mapping, Sequence
from enum import Enum
from typing import Final, NamedTuple

from wanwatch.core.judge.events import Book, Draft, Moment, resumed
from wanwatch.core.judge.evidence import AHEAD, NEVER
from wanwatch.core.judge.stays import failure
from wanwatch.core.judge.traffic import Traffic
from wanwatch.core.judge.uplink import Uplink
from wanwatch.core.model import Event, EventKind, JudgeSettings, State


class Phase(Enum):
    """How restless something is."""

    CALM = "calm"
    FLAPPING = "flapping"


class Signal(Enum):
    """What its changes amount to."""

    FEW = "few"  # it changed, and less often than the limit within the time that is looked back
    MANY = "many"  # it changed, and as often as that
    QUIET = "quiet"  # it has not changed for that time


TRANSITIONS: Final = {
    Phase.CALM: {Signal.FEW: Phase.CALM, Signal.MANY: Phase.FLAPPING, Signal.QUIET: Phase.CALM},
    Phase.FLAPPING: {Signal.FEW: Phase.FLAPPING, Signal.MANY: Phase.FLAPPING, Signal.QUIET: Phase.CALM},
}


class _Change(NamedTuple):
    """When a change became known, and when it happened."""

    known_ns: int
    moment: Moment


class Restless:
    """The machine for one line, or for the traffic of the site.

    Args:
        uplink: The line; None for the traffic.
        book: Where its events are told.
        draft: The event, if it was open when an earlier run ended.
        alive_unix_ns: When that run was last known alive.

    Attributes:
        phase: Where it stands.
    """

    def __init__(
        self, uplink: str | None, book: Book, draft: Draft | None = None, alive_unix_ns: int | None = None
    ) -> None:
        self.phase = Phase.CALM if draft is None else Phase.FLAPPING
        self._uplink = uplink
        self._book = book
        self._draft = draft
        self._alive_unix_ns = alive_unix_ns
        self._changes: deque[_Change] = deque()
        self._last = _Change(NEVER, Moment(NEVER, NEVER, NEVER))

    def begin(self, now_ns: int) -> None:
        """Watching begins; what flapped before has to be quiet from here on, since nobody saw what it did meanwhile."""
        if self._draft is not None:
            self._last = _Change(now_ns, Moment(now_ns, now_ns, now_ns, floor_unix_ns=self._alive_unix_ns))

    def changed(self, moment: Moment, now_ns: int, settings: JudgeSettings) -> None:
        """It changed at *moment*, as is known now."""
        self._last = _Change(now_ns, moment)
        self._changes.append(self._last)
        while self._changes[0].known_ns <= now_ns - settings.flapping_within_ns:
            self._changes.popleft()
        many = len(self._changes) >= settings.flapping_changes
        self._step(Signal.MANY if many else Signal.FEW)

    def due_ns(self, within_ns: int) -> int:
        """When a spell is over unless something changes; `AHEAD` outside of one."""
        return self._last.known_ns + within_ns if self.phase is Phase.FLAPPING else AHEAD

    def advance(self, now_ns: int, within_ns: int) -> None:
        """Decide what is due at *now_ns*."""
        if self.due_ns(within_ns) <= now_ns:
            self._step(Signal.QUIET)

    def _step(self, signal: Signal) -> None:
        before, self.phase = self.phase, TRANSITIONS[self.phase][signal]
        if self.phase is Phase.FLAPPING and before is Phase.CALM:
            self._draft = Draft(kind=EventKind.FLAPPING, uplink=self._uplink, start=self._changes[0].moment)
            self._draft.detail |= {"of": "traffic" if self._uplink is None else "line", "changes": len(self._changes)}
            self._book.tell(self._draft)
        elif self.phase is Phase.FLAPPING and self._draft is not None:
            count = self._draft.detail.get("changes")  # told with the end: a telling for each change would say no more
            self._draft.detail["changes"] = count + 1 if isinstance(count, int) else 1
        elif before is Phase.FLAPPING:
            self.end(self._last.moment)

    def end(self, moment: Moment, ended_by: str | None = None) -> None:
        """The spell, if there is one, is over."""
        draft, self._draft = self._draft, None
        self.phase = Phase.CALM
        self._changes.clear()
        if draft is not None:
            draft.end = moment
            if ended_by is not None:
                draft.detail["ended_by"] = ended_by
            self._book.tell(draft)


class Flapping:
    """Watches all lines of a site and its traffic.

    Args:
        uplinks: The site's uplinks, shared with the judge.
        traffic: Who knows when traffic moved.
        book: Where events are told.
        open_events: Events that were open when an earlier run ended.
        alive_unix_ns: When that run was last known alive.
    """

    def __init__(
        self, uplinks: Mapping[str, Uplink], traffic: Traffic, book: Book, *, open_events: Iterable[Event] = (),
        alive_unix_ns: int | None = None,
    ) -> None:  # fmt: skip
        self._uplinks = uplinks
        self._traffic = traffic
        self._book = book
        self._settings = JudgeSettings()
        drafts = {event.uplink: resumed(event) for event in open_events if event.kind is EventKind.FLAPPING}
        self._restless = {name: Restless(name, book, draft, alive_unix_ns) for name, draft in drafts.items()}
        self._restless.setdefault(None, Restless(None, book))
        self._were: dict[str, State] = {}

    def begin(self, now_ns: int) -> None:
        """Watching begins."""
        for restless in self._restless.values():
            restless.begin(now_ns)

    def reconfigure(self, uplinks: Sequence[str], settings: JudgeSettings, now_ns: int) -> None:
        """Take other uplinks or numbers; what flaps and is not configured any more ends unwatched."""
        self._settings = settings
        for gone in self._restless.keys() - {None, *uplinks}:
            restless = self._restless.pop(gone)
            if now_ns != NEVER:
                restless.end(Moment(now_ns, now_ns, now_ns), "configuration")
        for name in uplinks:
            self._restless.setdefault(name, Restless(name, self._book))
        self._were = {name: state for name, state in self._were.items() if name in uplinks}

    def due_ns(self) -> int:
        """When a spell is over; `AHEAD` if never."""
        return min(restless.due_ns(self._settings.flapping_within_ns) for restless in self._restless.values())

    def advance(self, now_ns: int) -> None:
        """Decide what is due at *now_ns*."""
        for restless in self._restless.values():
            restless.advance(now_ns, self._settings.flapping_within_ns)

    def review(self, now_ns: int) -> None:
        """Notice what has changed."""
        for name, uplink in self._uplinks.items():
            self._look(name, uplink, now_ns)
        for change in self._traffic.take_moves():
            if change.watched:
                earliest_ns = change.first.sent_ns if change.last_ns == NEVER else change.last_ns
                moment = Moment(change.first.sent_ns, min(earliest_ns, change.first.sent_ns), change.first.known_ns)
                self._restless[None].changed(moment, now_ns, self._settings)

    def _look(self, name: str, uplink: Uplink, now_ns: int) -> None:
        """A line that is out of sight has not changed, and one that is impaired is up."""
        state = State.UP if uplink.state is State.IMPAIRED else uplink.state
        if state is State.UNOBSERVED or self._were.get(name) is state:
            return
        first = self._were.get(name) is None
        self._were[name] = state
        if not first:
            moment = failure(uplink) if state is State.DOWN else uplink.back
            fallback = Moment(uplink.since_ns, uplink.since_ns, uplink.since_ns)
            self._restless[name].changed(moment or fallback, now_ns, self._settings)
