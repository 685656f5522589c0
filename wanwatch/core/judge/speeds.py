"""Speeds: the impairment of one uplink that its speed tests show, in either direction or both.

It is an event of its own beside what probes show: its instants come from tests that lie hours apart, and would spoil
the bounds of loss and delay.
"""

from typing import Final

from wanwatch.core.judge.events import Book, Draft, Moment
from wanwatch.core.judge.speed import TROUBLED, Direction, Phase
from wanwatch.core.model import EventKind, Json, JudgeSettings, Learnt, Promised, SpeedSeen

BECAUSE: Final = "speed"
_PART: Final = "speed-"


class Speeds:
    """The impairment by speed of one uplink.

    Args:
        name: The uplink's name.
        book: Where its events are told.
        draft: Its impairment by speed that was open when an earlier run ended.
        alive_unix_ns: When that run was last known alive.
    """

    def __init__(self, name: str, book: Book, draft: Draft | None, alive_unix_ns: int | None) -> None:
        self._name = name
        self._book = book
        self._draft = draft
        self._alive_unix_ns = alive_unix_ns
        self._ways = {"down": Direction(), "up": Direction()}
        slow = draft.detail.get("slow") if draft is not None else None
        for way, direction in self._ways.items():
            if isinstance(slow, list) and way in slow:
                direction.phase = Phase.SLOW
        self.reconfigure(JudgeSettings())

    def reconfigure(self, settings: JudgeSettings) -> None:
        """Take other numbers, or another contract."""
        promised = settings.promised.get(self._name, Promised())
        self._promised = {"down": promised.down_bps, "up": promised.up_bps}
        self._share = settings.impaired_speed_ratio

    def restart(self, since_ns: int) -> None:
        """The line is up since then."""
        for direction in self._ways.values():
            direction.forget(since_ns)

    def cut_short(self, end: Moment, ended_by: str) -> None:
        """The line is not up any more, and may come back as another one."""
        for direction in self._ways.values():
            direction.phase = Phase.FAST
        if self._draft is not None:
            self._end(self._draft, end, ended_by)

    def hear(self, seen: SpeedSeen) -> Moment | None:
        """Take in a test of a line that is up; return since when it is impaired, or well again, if new."""
        direction = self._ways[seen.direction]
        if not seen.counts:
            return None
        direction.hear(seen, direction.floor_bps(self._promised[seen.direction], self._share))
        learnt = Learnt(seen.at_unix_ns, self._name, f"{_PART}{seen.direction}", [*direction.tests])
        self._book.effects.append(learnt)
        return self._review(direction, seen.at_ns)

    def due_ns(self) -> int:
        """When a word no longer stands; `AHEAD` if never."""
        return min(direction.due_ns() for direction in self._ways.values())

    def advance(self, now_ns: int) -> Moment | None:
        """Let go of the oldest word that no longer stands; return since when the line counts as well, if new."""
        direction = min(self._ways.values(), key=Direction.due_ns)
        if direction.due_ns() > now_ns:
            return None
        direction.age()
        return self._review(direction, now_ns, "no-test")

    def _review(self, changed: Direction, now_ns: int, ended_by: str | None = None) -> Moment | None:
        slow = [way for way, direction in self._ways.items() if direction.phase in TROUBLED]
        draft = self._draft
        if draft is None and slow:
            return self._begin(changed.began(), slow)
        if draft is not None and not slow:
            return self._end(draft, changed.ended(now_ns, self._alive_unix_ns), ended_by)
        if draft is not None:
            self._tell(draft, slow)
        return None

    def _begin(self, start: Moment, slow: list[str]) -> Moment:
        detail: dict[str, Json] = {"because": [BECAUSE]}
        self._draft = Draft(kind=EventKind.IMPAIRMENT, uplink=self._name, start=start, detail=detail)
        self._tell(self._draft, slow)
        return start

    def _tell(self, draft: Draft, slow: list[str]) -> None:
        """Tell it, if there is news: which directions are slow, their slowest tests, and what those fell short of."""
        before = dict(draft.detail)
        draft.detail["slow"] = [*slow]
        for way in slow:
            worst, told = self._ways[way].worst, before.get(f"{way}_bps")
            if worst is not None and not (isinstance(told, int) and told <= worst[0]):
                draft.detail |= {f"{way}_bps": worst[0], f"{way}_floor_bps": worst[1]}
        if draft.detail != before:
            self._book.tell(draft)

    def _end(self, draft: Draft, end: Moment, ended_by: str | None) -> Moment:
        draft.end = end
        draft.detail.pop("slow", None)
        if ended_by is not None:
            draft.detail["ended_by"] = ended_by
        self._book.tell(draft)
        self._draft = None
        return end

    @property
    def on(self) -> bool:
        """Whether the line is impaired by speed."""
        return self._draft is not None

    @property
    def known(self) -> dict[str, Json]:
        """The last tests, for the next run."""
        return {f"{_PART}{way}": [*direction.tests] for way, direction in self._ways.items() if direction.tests}

    def recall(self, part: str, known: Json) -> None:
        """Take back a part of what an earlier run knew."""
        direction = self._ways.get(part.removeprefix(_PART))
        if direction is not None and isinstance(known, list):
            direction.tests.extend(bps for bps in known if isinstance(bps, int))
