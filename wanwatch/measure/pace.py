"""When to ask: absolute times of sending, and the one timer that keeps them.

A turn is due at epoch + phase + n * interval, where its phase is a fixed share of its interval. So nothing drifts, a
change of pace and back keeps the phase, and a stall skips what it missed instead of sending it in a bunch.
"""

import asyncio
from collections.abc import Callable, Collection, Iterable, Iterator
from dataclasses import dataclass, field
from heapq import heapify, heappop, heappush, heapreplace
from itertools import count, pairwise
from typing import Final

from wanwatch.core.model import NS_PER_S
from wanwatch.core.ports import Clock

WHOLE: Final = 1 << 32
"""Shares of an interval are counted in 2**-32."""


@dataclass(slots=True, eq=False)
class Turn:
    """Something to be done again and again.

    Attributes:
        fire: What is to be done; must not block.
        uplink: By which uplink it is paced.
        share: Its phase as a share of its interval, 0 to `WHOLE` - 1.
        every_ns: Its usual interval.
        pulse_ns: Its interval while its uplink is asked quickly.
        interval_ns: Its interval now.
        due_ns: When it is due next (monotonic); None once it has been removed.
    """

    fire: Callable[[], None]
    uplink: str
    share: int
    every_ns: int
    pulse_ns: int
    interval_ns: int = field(init=False, default=0)
    due_ns: int | None = field(init=False, default=None)


def spread(taken: Collection[int], number: int, first: int = 0) -> list[int]:
    """Return *number* shares: evenly from *first* on if none is *taken*, else in the middle of the widest gaps."""
    if not taken:
        return [(first + k * WHOLE // number) % WHOLE for k in range(number)]
    marks = sorted(taken)
    gaps = [(a - b, a) for a, b in pairwise([*marks, marks[0] + WHOLE])]  # negative width, so that the widest is first
    heapify(gaps)
    found = []
    for _ in range(number):
        width, start = gaps[0]
        middle = start - width // 2
        heapreplace(gaps, (start - middle, start))
        heappush(gaps, (middle - start + width, middle))
        found.append(middle % WHOLE)
    return found


class Timetable:
    """Which turn is due when. Pure: time arrives as an argument.

    Phases are counted from the instant at which the first turn is added, so that this one is due at once.
    """

    def __init__(self) -> None:
        self._epoch_ns: int | None = None
        self._heap: list[tuple[int, int, Turn]] = []
        self._serial = count()
        self._turns: dict[str, set[Turn]] = {}
        self._quick: set[str] = set()

    def add(self, turn: Turn, now_ns: int) -> None:
        """Begin with *turn*: its first time is the first of its times at or after *now_ns*."""
        if self._epoch_ns is None:
            self._epoch_ns = now_ns
        self._turns.setdefault(turn.uplink, set()).add(turn)
        self._place(turn, now_ns)

    def remove(self, turn: Turn) -> None:
        """End *turn*."""
        turn.due_ns = None
        self._turns[turn.uplink].discard(turn)

    def pace(self, uplink: str, now_ns: int, *, quick: bool) -> None:
        """From *now_ns* on use the pulse (*quick*) or the usual interval for all turns of *uplink*, now and to come."""
        if quick == (uplink in self._quick):
            return
        (self._quick.add if quick else self._quick.discard)(uplink)
        for turn in self._turns.get(uplink, ()):
            if turn.every_ns != turn.pulse_ns:  # to place it anew would skip the one that is just due
                self._place(turn, now_ns)

    def next_ns(self) -> int | None:
        """Return when the next turn is due, or None if there is none."""
        heap = self._heap
        while heap and heap[0][2].due_ns != heap[0][0]:
            heappop(heap)  # removed, or placed anew
        return heap[0][0] if heap else None

    def due(self, now_ns: int) -> Iterator[Turn]:
        """Yield each turn whose time has come, once, and set its next time after *now_ns*."""
        heap = self._heap
        while heap and heap[0][0] <= now_ns:
            due_ns, serial, turn = heap[0]
            if turn.due_ns != due_ns:
                heappop(heap)
                continue
            # Whole intervals that passed unused are skipped, so that a stall is not followed by a bunch.
            turn.due_ns = due_ns + turn.interval_ns * ((now_ns - due_ns) // turn.interval_ns + 1)
            heapreplace(heap, (turn.due_ns, serial, turn))
            yield turn

    def _place(self, turn: Turn, now_ns: int) -> None:
        turn.interval_ns = interval = turn.pulse_ns if turn.uplink in self._quick else turn.every_ns
        phase = interval * turn.share >> 32
        turn.due_ns = now_ns + ((self._epoch_ns or 0) + phase - now_ns) % interval
        heappush(self._heap, (turn.due_ns, next(self._serial), turn))


class Pacer:
    """Fires turns on time, inside the running event loop."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._table = Timetable()
        self._timer: asyncio.TimerHandle | None = None

    def add(self, turns: Iterable[Turn]) -> None:
        """Begin with *turns*, all at the same instant."""
        now_ns = self._clock.now_ns()
        for turn in turns:
            self._table.add(turn, now_ns)
        self._arm()

    def remove(self, turn: Turn) -> None:
        """End *turn*."""
        self._table.remove(turn)

    def pace(self, uplink: str, *, quick: bool) -> None:
        """Use the pulse or the usual interval for all turns of *uplink* from now on."""
        self._table.pace(uplink, self._clock.now_ns(), quick=quick)
        self._arm()

    def close(self) -> None:
        """Fire nothing more."""
        if self._timer is not None:
            self._timer.cancel()

    def _arm(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
        due_ns = self._table.next_ns()
        if due_ns is None:
            self._timer = None
            return
        wait_s = max(0, due_ns - self._clock.now_ns()) / NS_PER_S
        self._timer = asyncio.get_running_loop().call_later(wait_s, self._fire)

    def _fire(self) -> None:
        try:
            for turn in self._table.due(self._clock.now_ns()):
                turn.fire()
        finally:
            self._arm()
