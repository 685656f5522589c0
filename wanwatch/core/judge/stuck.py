"""Stuck failover: an uplink that carries is down, another is up, and traffic does not move."""

from collections.abc import Mapping

from wanwatch.core.judge.events import Book, Draft, Moment, at
from wanwatch.core.judge.evidence import AHEAD, NEVER
from wanwatch.core.judge.line import Phase
from wanwatch.core.judge.traffic import Traffic
from wanwatch.core.judge.uplink import Uplink
from wanwatch.core.model import EventKind, State

_USABLE = frozenset({State.UP, State.IMPAIRED})


class Stuck:
    """Watches whether traffic leaves a dead line.

    Args:
        uplinks: The site's uplinks, shared with the judge.
        traffic: Who knows what carries.
        book: Where the event is told.
        draft: The event, if it was open when an earlier run ended.
        alive_unix_ns: When that run was last known alive.

    Attributes:
        stuck_after_ns: How long traffic may take, once there is somewhere to go.
    """

    def __init__(
        self, uplinks: Mapping[str, Uplink], traffic: Traffic, book: Book, *, draft: Draft | None,
        alive_unix_ns: int | None,
    ) -> None:  # fmt: skip
        self.stuck_after_ns = 0
        self._uplinks = uplinks
        self._traffic = traffic
        self._book = book
        self._draft = draft
        self._alive_unix_ns = alive_unix_ns
        self._over_ns: int | None = None

    def due_ns(self) -> int:
        """When the patience with the traffic ends, or an end can be told; `AHEAD` if it is where it should be."""
        if self._over_ns is not None:
            return self._over_ns + 1
        carrier = self._dead_carrier()
        if self._draft is not None or carrier is None:
            return AHEAD
        others = [uplink.since_ns for uplink in self._uplinks.values() if uplink.state in _USABLE]
        return max(carrier.line.cut.first_ns, min(others)) + self.stuck_after_ns if others else AHEAD

    def advance(self, now_ns: int) -> None:
        """Tell it once it is due, and its end once all that happened at that instant is known."""
        if self._over_ns is not None and self._over_ns < now_ns:
            self._conclude()
        due_ns = self.due_ns()
        if due_ns <= now_ns:
            carrier = self._dead_carrier()
            name = None if carrier is None else carrier.name
            self._draft = Draft(kind=EventKind.STUCK_FAILOVER, uplink=name, start=at(due_ns))
            self._book.tell(self._draft)

    def _dead_carrier(self) -> Uplink | None:
        """The most preferred line that is down and carries traffic, if one does, alone or beside others."""
        carriers = (self._uplinks[name] for name in self._traffic.shown.carriers if name in self._uplinks)
        return next((uplink for uplink in carriers if uplink.line.phase is Phase.DOWN), None)

    def review(self, now_ns: int) -> None:
        """Notice that traffic moved, the line recovered, or no other line is left.

        Several of these may become known at one instant, in any order, so that which of them ended it is told after.
        """
        if self._draft is not None and self._over_ns is None and self._reason(self._draft, now_ns) is not None:
            self._over_ns = now_ns

    def _conclude(self) -> None:
        over_ns, self._over_ns = self._over_ns, None
        if self._draft is not None and over_ns is not None:
            reason = self._reason(self._draft, over_ns)
            if reason is not None:
                self._end(self._draft, *reason)

    def _reason(self, draft: Draft, now_ns: int) -> tuple[str, Moment] | None:
        """Why and when it ended; traffic that moved goes first, for that is what was waited for."""
        carrying = self._traffic.carrying
        line = self._uplinks.get(draft.uplink or "")
        others = [uplink for uplink in self._uplinks.values() if uplink is not line]
        if line is None or (carrying.known and draft.uplink not in self._traffic.shown.carriers):
            return "moved", self._moved(now_ns)
        if line.state in _USABLE:
            return "recovered", at(line.since_ns)
        if others and all(uplink.state is State.DOWN for uplink in others):
            return "no-other", at(max(uplink.since_ns for uplink in others))
        return None

    def _moved(self, now_ns: int) -> Moment:
        change = self._traffic.moved
        if change is None or not change.watched:
            return Moment(now_ns, now_ns, now_ns, floor_unix_ns=self._alive_unix_ns)
        last_ns = change.first.sent_ns if change.last_ns == NEVER else change.last_ns
        return Moment(change.first.sent_ns, last_ns, change.first.known_ns)

    def _end(self, draft: Draft, because: str, end: Moment) -> None:
        draft.end = end
        draft.detail["because"] = because
        self._draft = None
        self._book.tell(draft)
