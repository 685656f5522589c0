"""How long a switch cut people off, by kind: echo, names, new connections, and one connection that is held open.

The figures of a kind are its silence (see `hearing`), with the least and the most that it can have been. What was not
watched is None, never 0; and what has not come back when patience ends has a least figure only.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from wanwatch.core.judge.events import Book, Draft
from wanwatch.core.judge.evidence import AHEAD, NEVER
from wanwatch.core.judge.hearing import Hearing
from wanwatch.core.judge.run import Gap
from wanwatch.core.model import NS_PER_S, UNPINNED, Json, Kind, Question, Role, Sample

PATIENCE_NS: Final = 120 * NS_PER_S
"""How long a kind may stay away once the path answers again: longer than TCP tries before it gives a connection up."""
_LOOK_NS: Final = NS_PER_S
_SHARED_NS: Final = NS_PER_S
"""A silence that began longer than this before the switch could have is another matter."""
_COVERED: Final = 3
"""So many turns may pass between two answers, and the time between is still watched."""

ECHO: Final = "echo"
HELD: Final = "held"
KINDS: Final = {Kind.DNS: "names", Kind.TCP: "connect", Kind.HELD: HELD}
"""The kinds of `Role.TRAFFIC` series, as they stand in an event's detail; the path's own series are `echo`."""


@dataclass(slots=True, eq=False)
class _Pending:
    """A switch whose interruption is not known in full yet.

    Attributes:
        draft: The event.
        gap: The silence of the path itself, if there was one.
        lo_ns: The last word for the uplink that traffic left, or when the path was last known to answer.
        hi_ns: When a silence of this switch had begun at the latest.
    """

    draft: Draft
    gap: Gap | None
    lo_ns: int
    hi_ns: int

    @property
    def deadline_ns(self) -> int:
        """While the path itself is silent, nothing else can come back."""
        if self.gap is None:
            return self.hi_ns + PATIENCE_NS
        return AHEAD if self.gap.end_ns is None else self.gap.end_known_ns + PATIENCE_NS


class Interruptions:
    """Gathers by kind how long each switch cut people off.

    Args:
        book: Where its events are told again.
    """

    def __init__(self, book: Book) -> None:
        self._book = book
        self._hearings: dict[str, Hearing] = {}
        self._pending: list[_Pending] = []
        self._look_ns = AHEAD

    def reconfigure(self, questions: Sequence[Question]) -> None:
        """Take other series; what was heard of kinds that stay is kept."""
        by_kind: dict[str, list[Question]] = {}
        for question in questions:
            if (kind := _kind(question.series.uplink, question.series.role, question.series.kind)) is not None:
                by_kind.setdefault(kind, []).append(question)
        self._hearings = {
            kind: self._hearings.get(kind) or Hearing() for kind in (ECHO, *KINDS.values()) if kind in by_kind
        }
        for kind, hearing in self._hearings.items():
            hearing.ask_as(by_kind[kind])

    def hear(self, sample: Sample) -> None:
        """Take in an unpinned sample."""
        kind = _kind(sample.series.uplink, sample.series.role, sample.series.kind)
        if kind is not None and (hearing := self._hearings.get(kind)) is not None:
            hearing.hear(sample)
            hearing.settle(sample.known_ns)

    def follow(self, draft: Draft, gap: Gap | None, *, lo_ns: int, hi_ns: int, now_ns: int) -> None:
        """Note in *draft*, which is about to be told, what is known, and tell it again once all of it is.

        Args:
            draft: A switch that was watched.
            gap: The silence of the path itself, if there was one.
            lo_ns: The last word for the uplink that traffic left.
            hi_ns: When a silence that belongs to the switch had begun at the latest.
            now_ns: The present instant.
        """
        if gap is not None:
            lo_ns = min(lo_ns, gap.before_ns)
        pending = _Pending(draft, gap, lo_ns, hi_ns)
        if not self._conclude(pending, now_ns):
            self._pending.append(pending)
            self._look_ns = min(self._look_ns, now_ns + _LOOK_NS)

    def due_ns(self) -> int:
        """When `advance` has something to do; `AHEAD` if never."""
        return self._look_ns

    def advance(self, now_ns: int) -> None:
        """Tell again what is known in full by now, or has been waited for long enough."""
        if self._look_ns > now_ns:
            return
        done = [pending for pending in self._pending if self._conclude(pending, now_ns)]
        self._pending = [pending for pending in self._pending if pending not in done]
        self._look_ns = now_ns + _LOOK_NS if self._pending else AHEAD
        for pending in done:
            self._book.tell(pending.draft)

    def stop(self) -> None:
        """The program ends: tell what is known of the switches that still wait."""
        for pending in self._pending:
            self._note(pending)
            self._book.tell(pending.draft)
        self._pending.clear()
        self._look_ns = AHEAD

    def _conclude(self, pending: _Pending, now_ns: int) -> bool:
        for hearing in self._hearings.values():
            hearing.settle(now_ns)
        if not all(self._known(kind, pending) for kind in self._hearings) and now_ns < pending.deadline_ns:
            return False
        self._note(pending)
        return True

    def _gap(self, kind: str, pending: _Pending) -> Gap | None:
        if kind == ECHO:
            return pending.gap
        return self._hearings[kind].longest(pending.lo_ns - _SHARED_NS, pending.hi_ns)

    def _known(self, kind: str, pending: _Pending) -> bool:
        hearing, gap = self._hearings[kind], self._gap(kind, pending)
        if hearing.settled_ns < pending.hi_ns:
            return False
        end_ns = pending.hi_ns if gap is None else gap.end_ns
        if end_ns is None:
            return False
        # What was never answered before the switch will not be the wiser for waiting.
        before, after = hearing.around(pending.lo_ns, max(end_ns, pending.hi_ns))
        return before is None or after is not None

    def _note(self, pending: _Pending) -> None:
        detail: dict[str, Json] = {}
        for kind, hearing in self._hearings.items():
            gap = self._gap(kind, pending)
            figures = _timed(gap) if gap is not None else _unbroken(hearing, pending)
            if kind == ECHO and gap is None:
                figures["s"] = pending.draft.interruption_s
            if kind == HELD:
                figures["survived"] = _survived(
                    hearing, gap, pending, watched=gap is not None or figures["s"] is not None
                )
            detail[kind] = figures
        pending.draft.detail["interruption"] = detail


def _kind(uplink: str, role: Role, kind: Kind) -> str | None:
    if uplink != UNPINNED:
        return None
    return ECHO if role is Role.LINE else KINDS.get(kind) if role is Role.TRAFFIC else None


def _timed(gap: Gap) -> dict[str, Json]:
    """The figures of a silence: it had begun one round trip after its first send, and ended with its first answer."""
    low_ns = max(0, gap.last_ns - gap.first_ns - gap.rtt_ns)
    high_ns = None if gap.end_ns is None or gap.before_ns == NEVER else gap.end_known_ns - gap.before_ns
    length_ns = None if gap.end_ns is None else gap.end_ns - gap.first_ns
    return _figures(length_ns, low_ns, high_ns)


def _unbroken(hearing: Hearing, pending: _Pending) -> dict[str, Json]:
    """The figures where nothing was silent: none, and no longer than two answers lay apart; unknown if unwatched."""
    widest_ns = hearing.widest_ns(pending.lo_ns, pending.hi_ns)
    if widest_ns is None or widest_ns > _COVERED * hearing.turn_ns + hearing.lag_ns:
        return _figures(None, None, None)
    return _figures(0, 0, widest_ns)


def _figures(length_ns: int | None, low_ns: int | None, high_ns: int | None) -> dict[str, Json]:
    said = {"s": length_ns, "low_s": low_ns, "high_s": high_ns}
    return {key: None if ns is None else round(ns / NS_PER_S, 6) for key, ns in said.items()}


def _survived(hearing: Hearing, gap: Gap | None, pending: _Pending, *, watched: bool) -> bool | None:
    """Whether the connection that answered before the switch is the one that answered after it.

    Another one broke the former at the switch only if that one was *watched* until then.
    """
    lo_ns = pending.lo_ns if gap is None else gap.before_ns
    end_ns = pending.hi_ns if gap is None else gap.end_ns
    if end_ns is None:
        return None
    before, after = hearing.around(lo_ns, max(end_ns, pending.hi_ns))
    if before is None or after is None or before.connection is None or after.connection is None:
        return None
    same = before.connection == after.connection
    return same if same or watched else None
