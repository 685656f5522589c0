"""A run from its first connection to its last count: warm-up, measuring, and all that bounds it."""

import asyncio
import os
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field, replace
from typing import Final

from wanwatch.core.account.goodput import window_bps
from wanwatch.core.account.speed import BIN_NS, Mark, warm_up
from wanwatch.core.account.speed_result import Direction, Ending
from wanwatch.core.model import NS_PER_S
from wanwatch.core.ports import Clock
from wanwatch.core.wire.tcp_info import TcpInfo
from wanwatch.measure.speed.answer import Trouble
from wanwatch.measure.speed.far import asked
from wanwatch.measure.speed.gauges import Gauges, interface_of, port_bps
from wanwatch.measure.speed.job import Counted, Job, Transfer
from wanwatch.measure.speed.lanes import Lanes, Totals
from wanwatch.measure.speed.talk import BUFFER_BYTES, Load

STALL_NS: Final = 5 * NS_PER_S
"""A transfer that stands still for so long is over."""


@dataclass(frozen=True, slots=True)
class _Instant:
    """All counters at one instant."""

    totals: Totals
    body_ns: int
    gauges: Gauges


@dataclass(slots=True)
class Worker:
    """Runs one job, once.

    Args:
        job: What to run.
        clock: Where time comes from.
        tell: Called with each mark.
    """

    job: Job
    clock: Clock
    tell: Callable[[Mark], None]
    _lanes: Lanes = field(init=False)
    _marks: list[Mark] = field(default_factory=list)
    _rtts_s: list[float] = field(default_factory=list)
    _least_s: list[float] = field(default_factory=list)
    _infos: list[TcpInfo] = field(default_factory=list)
    _begin: int | None = None
    _steady: bool = False
    _before: _Instant | None = None
    _interface: str | None = None

    def __post_init__(self) -> None:
        """Make the one buffer."""
        # What no link can compress: the far end's bytes are its own business.
        filled = bytearray(os.urandom(BUFFER_BYTES))
        self._lanes = Lanes(Load(self.job, self.clock.now_ns, memoryview(filled)))

    async def run(self) -> Transfer:
        """Run it. Network trouble is an ending; nothing is raised."""
        moving = asyncio.create_task(self._lanes.run())
        try:
            found = await self._watch(moving)
            done = self._transfer(found or self._lanes.trouble or Trouble(Ending.DONE, ""))
        finally:
            moving.cancel()
            with suppress(asyncio.CancelledError):
                await moving
        return replace(done, far=await asked(self.job, self.clock)) if done.used else done

    async def _watch(self, moving: asyncio.Task[None]) -> Trouble | None:
        """Count until the run is over; None where it is over because a connection is."""
        next_ns = self.clock.now_ns()
        while not moving.done():
            if self._marks or self._lanes.body_ns():
                ended = self._count()
                if ended is not None:
                    return ended
            next_ns += BIN_NS
            # A mark that comes late is a mark of its own time: rates are taken over true times.
            next_ns = max(next_ns, self.clock.now_ns())
            await asyncio.wait([moving], timeout=(next_ns - self.clock.now_ns()) / NS_PER_S)
        await moving
        return None

    def _count(self) -> Trouble | None:
        mark = Mark(self.clock.now_ns(), self._carried())
        self._marks.append(mark)
        self.tell(mark)
        self._infos = self._lanes.infos() or self._infos
        if self._begin is None:
            self._warm()
        else:
            self._rtts_s += [info.rtt_s for info in self._infos if info.rtt_s is not None]
        self._least_s += [info.min_rtt_s for info in self._infos if info.min_rtt_s is not None]
        return self._ended(mark)

    def _carried(self) -> int:
        """What has got across: of what we send, only what the far end says it has."""
        lanes = self._lanes
        down = self.job.direction is Direction.DOWN
        in_order = lanes.load.moved if down else int((lanes.totals().acked or 0) * lanes.payload)
        return max(in_order + lanes.ahead(), self._marks[-1].carried if self._marks else 0)

    def _warm(self) -> None:
        cut = warm_up(self._marks)
        if cut is not None:
            self._begin, self._steady = cut
            self._interface = interface_of(self._lanes.own or "")
            self._before = self._instant()

    def _instant(self) -> _Instant:
        now_ns = self.clock.now_ns()
        gauges = Gauges.read(now_ns, self._interface, self.job.direction)
        return _Instant(self._lanes.totals(), self._lanes.body_ns(), gauges)

    def _ended(self, mark: Mark) -> Trouble | None:
        if not self._lanes.load.left:
            return Trouble(Ending.CAPPED, f"{self.job.most_bytes} bytes")
        still_ns = mark.at_ns - next(
            (before.at_ns for before in reversed(self._marks) if before.carried < mark.carried), self._marks[0].at_ns
        )
        if still_ns >= STALL_NS:
            return Trouble(Ending.STALLED, f"for {still_ns / NS_PER_S:.0f} s")
        if self._begin is not None and mark.at_ns - self._marks[self._begin].at_ns >= self.job.seconds * NS_PER_S:
            return Trouble(Ending.DONE, "")
        return None

    def _transfer(self, ended: Trouble) -> Transfer:
        info = self._infos[0] if self._infos else None
        return Transfer(
            ending=ended.ending,
            why=ended.why,
            marks=self._marks,
            begin=self._begin,
            steady=self._steady,
            used=self._lanes.load.moved,
            ip=self._lanes.ip,
            mss=info.mss if info else None,
            timestamps=bool(info and info.timestamps),
            rtts_s=self._rtts_s if self.job.direction is Direction.UP else (),
            least_rtt_s=min(self._least_s, default=None),
            counted=self._counted(self._before) if self._before else None,
        )

    def _counted(self, before: _Instant) -> Counted:
        after = self._instant()
        totals = after.totals.less(before.totals)
        rate = port_bps(self._interface)
        sending = self.job.direction is Direction.UP
        connected_ns = (after.gauges.at_ns - before.gauges.at_ns) * self.job.connections
        return Counted(
            sent=totals.sent if sending else None,
            retransmitted=totals.retransmitted if sending else None,
            segments=None if sending else totals.segments,
            out_of_order=None if sending else totals.out_of_order,
            windowed=_share(totals.held_s, totals.busy_s) if sending else None,
            window_bps=None if sending else self._window_bps(),
            waiting=max(0.0, 1 - (after.body_ns - before.body_ns) / max(1, connected_ns)),
            processor=after.gauges.processor_since(before.gauges),
            interrupts=after.gauges.interrupts_since(before.gauges),
            port_bps=rate,
            port=after.gauges.port_since(before.gauges, rate),
        )

    def _window_bps(self) -> float | None:
        """What our windows let through, all connections together; None where one cannot be told."""
        each = [
            window_bps(info.receive_window, info.receive_rtt_s)
            for info in self._infos
            if info.receive_window is not None and info.receive_rtt_s is not None
        ]
        known = [rate for rate in each if rate is not None]
        return sum(known) if known and len(known) == len(self._infos) else None


def _share(part: float | None, whole: float | None) -> float | None:
    return part / whole if part is not None and whole else None
