"""The tracer: the whole way of each uplink, now and then while it is up and at once when it falls silent.

The prover's rounds look at the nearest routers only and say which line a pin takes; these traces are evidence. They
go to an outage's own detail and decide nothing.
"""

import asyncio
from collections.abc import Awaitable, Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

from wanwatch.core.model import Effect, Event, EventKind, Pace, PinChanged, State, StateChanged
from wanwatch.core.ports import Clock
from wanwatch.core.traced import TracedRoute, with_routes
from wanwatch.measure.prover import Subject
from wanwatch.measure.route import Answer, Failed, Question, Trace, Traced, ask

_SURE_S: Final = 0.5
"""A probe lost by chance is made good by the next quick one within so long, and is not worth a process."""
_SETTLE_S: Final = 1.0
"""After a line has come up, routers find their ways for a while."""
_EVERY_S: Final = 3600.0
_APART_S: Final = 30.0
"""A line that flaps is traced no more often than this in silence, nor when it is back: each trace costs a process."""
_TRIES: Final = 3
"""A trace that gets through was made of a stray loss just before the line broke, or met a gap in its silence."""
_FLOW: Final = 0x100
"""These flows are not the prover's, whose traces may run at the same time."""
_MOST: Final = 30
"""Distances traced; common practice, no published source."""
_CALM: Final = frozenset({State.UP, State.IMPAIRED})


@dataclass(slots=True)
class _Line:
    """What is known of one uplink; `following` and the keys of `traced_s` are True for silence, False for calm."""

    subject: Subject
    calm: bool = False
    quick: bool = False
    lost: bool = False
    following: bool | None = None
    traced_s: dict[bool, float] = field(default_factory=dict)
    before: TracedRoute | None = None
    during: TracedRoute | None = None
    outage: Event | None = None
    task: asyncio.Task[None] | None = None


class Tracer:
    """Keeps the routes, and adds them to outages. Create it inside a running event loop.

    Args:
        clock: Where instants come from.
        tell: Called with an outage that was told already, once its route is known.
        asked: Who answers the questions: the helper process.
    """

    def __init__(
        self, clock: Clock, tell: Callable[[Event], None], *,
        asked: Callable[[Sequence[Question]], Awaitable[list[Answer]]] = ask,
    ) -> None:  # fmt: skip
        self._clock, self._tell, self._asked = clock, tell, asked
        self._lines: dict[str, _Line] = {}

    def apply(self, subjects: Mapping[str, Subject]) -> None:
        """Trace these *subjects* from now on, by their uplinks' names; what stays keeps what is known of it."""
        for name in [name for name, line in self._lines.items() if subjects.get(name) != line.subject]:
            _end(self._lines.pop(name))
        for name, subject in subjects.items():
            self._lines.setdefault(name, _Line(subject))

    def heed(self, effect: Effect) -> None:
        """Heed what the judge says of a line: that it fell silent or lives, and whether its pin holds."""
        line = self._lines.get(getattr(effect, "uplink", None) or "")
        if line is None:
            return
        match effect:
            case Pace(quick=quick):
                line.quick = quick
            case StateChanged(state=state):
                line.calm = state in _CALM
            case PinChanged(proved=proved):
                line.lost = proved is False
            case _:
                return
        self._follow(line)

    def evidence(self, event: Event) -> Event:
        """Return *event*; an outage with what is known of its routes."""
        line = self._lines.get(event.uplink or "")
        if line is None or event.kind is not EventKind.OUTAGE:
            return event
        found = with_routes(event, line.before, line.during)
        line.outage = found if event.end is None else None
        return found

    async def close(self) -> None:
        """Stop at once, and leave no helper process behind."""
        lines, self._lines = self._lines, {}
        tasks = [line.task for line in lines.values() if line.task is not None]
        for line in lines.values():
            _end(line)
        await asyncio.gather(*tasks, return_exceptions=True)

    def _follow(self, line: _Line) -> None:
        """Trace what the line's present calls for, and go on with what is under way."""
        # Probes of a lost pin take another line: their way is not this one's.
        silent = True if line.quick else False if line.calm else None
        silent = None if line.lost else silent
        if silent == line.following:
            return
        _end(line)
        line.following, line.during = silent, None
        if silent is not None:
            line.task = asyncio.create_task(self._silent(line) if silent else self._calm(line))

    async def _silent(self, line: _Line) -> None:
        await self._pause(line, _SURE_S, silent=True)
        for left in reversed(range(_TRIES)):
            found = await self._trace(line)
            if not (found.reached and left):
                break
        line.during = found
        if line.outage is not None:
            self._tell(self.evidence(line.outage))

    async def _calm(self, line: _Line) -> None:
        while True:
            await self._pause(line, _SETTLE_S, silent=False)
            found = await self._trace(line)
            if not found.failed or line.before is None:
                line.before = found
            await asyncio.sleep(_EVERY_S)

    @staticmethod
    async def _pause(line: _Line, least_s: float, *, silent: bool) -> None:
        loop = asyncio.get_running_loop()
        again_s = line.traced_s.get(silent, -_APART_S) + _APART_S
        # A first trace that was broken off is made good at once: an outage without the route before it proves less.
        first = not silent and line.before is None
        await asyncio.sleep(least_s if first else max(least_s, again_s - loop.time()))
        line.traced_s[silent] = loop.time()

    async def _trace(self, line: _Line) -> TracedRoute:
        subject, at_unix_ns = line.subject, self._clock.now_unix_ns()
        (answer,) = await self._asked([Trace(subject.target, subject.pin, most=_MOST, flow=_FLOW + subject.flow)])
        if isinstance(answer, Traced):
            hops = tuple((hop.address, None if hop.rtt_ns is None else hop.rtt_ns // 1000) for hop in answer.hops)
            return TracedRoute(at_unix_ns, subject.target, hops, answer.reached)
        why = answer.why if isinstance(answer, Failed) else "the helper process answered something else"
        return TracedRoute(at_unix_ns, subject.target, failed=why)


def _end(line: _Line) -> None:
    if line.task is not None:
        line.task.cancel()
        line.task = None
