"""Impairment: a line that answers, but loses or delays more than it should.

Joins the windows, what is usual, and the spells that they show into events; what speed tests show stands beside.
"""

from collections.abc import Sequence
from typing import Final

from wanwatch.core.judge.events import Book, Draft, Moment
from wanwatch.core.judge.evidence import Voice
from wanwatch.core.judge.speeds import BECAUSE, Speeds
from wanwatch.core.judge.spell import Spell
from wanwatch.core.judge.usual import HOURS_A_DAY
from wanwatch.core.judge.window import Windows
from wanwatch.core.model import EventKind, Json, JudgeSettings, Learnt, SpeedSeen

_FIGURES: Final = ("loss_ratio", "p95_s")
_DELAY: Final = "delay-"


class Impairment:
    """The impairments of one uplink.

    Args:
        name: The uplink's name.
        book: Where its events are told.
        drafts: Its impairments that were open when an earlier run ended.
        alive_unix_ns: When that run was last known alive.
    """

    def __init__(self, name: str, book: Book, drafts: Sequence[Draft], alive_unix_ns: int | None) -> None:
        self.name = name
        self._book = book
        self._draft = next((draft for draft in drafts if not _by_speed(draft)), None)
        self._windows = Windows()
        self._spell = Spell(on=self._draft is not None, alive_unix_ns=alive_unix_ns)
        self._speeds = Speeds(name, book, next((draft for draft in drafts if _by_speed(draft)), None), alive_unix_ns)
        self._settings = JudgeSettings()
        self._last: tuple[int, int] | None = None

    def reconfigure(self, voices: Sequence[Voice], settings: JudgeSettings) -> None:
        """Take other targets or numbers; a target that stays keeps its sends and its usual delay."""
        self._settings = settings
        self._windows.reconfigure(voices, settings)
        self._spell.reconfigure(settings)
        self._speeds.reconfigure(settings)

    def add(self, target: str, sent_ns: int, rtt_ns: int) -> None:
        """Count one probe; *rtt_ns* is -1 for a lost one."""
        self._windows.add(target, sent_ns, rtt_ns)

    def restart(self, since_ns: int) -> None:
        """The line is up since then."""
        self._windows.restart(since_ns)
        self._spell.restart(since_ns)
        self._speeds.restart(since_ns)

    def cut_short(self, end: Moment, ended_by: str) -> None:
        """The line is not up any more: an outage or blindness takes the place of what was seen of it."""
        self._windows.stop()
        self._spell.stop()
        self._speeds.cut_short(end, ended_by)
        if self._draft is not None:
            self._draft.detail["ended_by"] = ended_by
            self._end(end)

    def due_ns(self) -> int:
        """When `advance` has something to do; `AHEAD` if never."""
        return min(self._windows.due_ns(), self._speeds.due_ns())

    def hear(self, seen: SpeedSeen) -> Moment | None:
        """Take in a speed test; return since when the line is impaired by speed, or well again, if new."""
        return self._speeds.hear(seen)

    def advance(self, now_ns: int) -> Moment | None:
        """Decide what is due first by *now_ns*; return since when the line is impaired, or well again, if new."""
        if self._windows.due_ns() > now_ns:
            return self._speeds.advance(now_ns)
        offset_ns = self._book.offset_ns
        look = self._windows.next(offset_ns)
        turn = self._spell.see(look)
        hour = self._windows.learn(look, offset_ns, calm=look.clean or not (self._spell.on or look.bad))
        if hour is not None:
            self._book.effects.append(
                Learnt(now_ns + offset_ns, self.name, _part(hour), self._windows.usuals.known(hour))
            )
        if turn is None:
            if self._draft is not None and look.bad:
                self._draft.detail = _worse(self._draft.detail, look.detail)
            return None
        if turn.on:
            self._draft = Draft(kind=EventKind.IMPAIRMENT, uplink=self.name, start=turn.when, detail=dict(look.detail))
            self._book.tell(self._draft)
        else:
            self._end(turn.when)
        return turn.when

    def _end(self, end: Moment) -> None:
        if self._draft is not None:
            self._draft.end = end
            self._last = (self._draft.start.earliest_ns, end.latest_ns)
            self._book.tell(self._draft)
            self._draft = None

    @property
    def known(self) -> dict[str, Json]:
        """What is usual, by its parts, for the next run."""
        usuals = self._windows.usuals
        delays = {_part(hour): known for hour in range(HOURS_A_DAY) if any((known := usuals.known(hour)).values())}
        return {**delays, **self._speeds.known}

    def recall(self, known: Json) -> None:
        """Take back what an earlier run knew; to be called before the targets are configured."""
        for part, told in known.items() if isinstance(known, dict) else ():
            if part.startswith(_DELAY):
                self._windows.usuals.recall(told)
            else:
                self._speeds.recall(part, told)

    @property
    def on(self) -> bool:
        """Whether the line is impaired."""
        return self._draft is not None or self._speeds.on

    def was(self, hi_ns: int) -> bool:
        """Return whether the line was impaired in the window that ends with an instant."""
        lo_ns = hi_ns - self._settings.window_ns
        spell = self._last is not None and self._last[0] <= hi_ns and self._last[1] >= lo_ns
        return self.on or spell or self._windows.look(lo_ns, hi_ns, self._book.offset_ns).bad

    def loss_ratio(self, now_ns: int) -> float:
        """Return the share that the line loses: in the last window, or in the worst one of the spell that goes on."""
        look = self._windows.look(now_ns - self._settings.window_ns, now_ns, self._book.offset_ns)
        told = None if self._draft is None else self._draft.detail.get("loss_ratio")
        return max(look.lost / look.sent if look.sent else 0.0, told if isinstance(told, float) else 0.0)


def _part(hour: int) -> str:
    return f"{_DELAY}{hour}"


def _by_speed(draft: Draft) -> bool:
    return draft.detail.get("because") == [BECAUSE]


def _worse(old: dict[str, Json], new: dict[str, Json]) -> dict[str, Json]:
    """Return *old* with the higher figures of *new*: an impairment is told with its worst window of each sort."""
    figures = {key: max((x for x in (old[key], new[key]) if isinstance(x, float)), default=None) for key in _FIGURES}
    because = [why for why in ("loss", "delay") if why in str(old["because"]) + str(new["because"])]
    return {**figures, "usual_s": new["usual_s"], "because": [*because]}
