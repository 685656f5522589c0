"""The prover: traces the first routers of every uplink at start, after changes, and every so often."""

import asyncio
import contextlib
from collections.abc import Awaitable, Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from wanwatch.config import Config
from wanwatch.config.plan import toward
from wanwatch.core.model import (
    NS_PER_S,
    UNPINNED,
    CarryingChanged,
    Cause,
    Effect,
    LinkSeen,
    Observation,
    Pin,
    PinChanged,
    PinsSeen,
    Role,
    RouteSeen,
    Sample,
    StateChanged,
)
from wanwatch.core.ports import Clock
from wanwatch.core.routes import Routes
from wanwatch.core.way import Way, our_side
from wanwatch.measure.route import Answer, Failed, Question, Trace, Traced, ask

_MOST: Final = 4
"""Distances traced: a gateway, perhaps a second one, and the provider's first routers."""
_SETTLE_S: Final = 1.0
"""After a change things move on for a while, and public addresses come in."""
_APART_S: Final = 5.0
"""Rounds begin no closer together: each costs a process."""
_CLOSELY_S: Final = 30.0
"""While a pin is lost its uplink is out of sight, so that its mending should not wait for long."""
_OURS: Final = frozenset({Cause.ERROR, Cause.NOT_PERMITTED})


@dataclass(frozen=True, slots=True)
class Subject:
    """An uplink to trace: its pin, an address that it leads to, its gateway if that is configured, and its flow."""

    pin: Pin
    target: str
    gateway: str | None = None
    flow: int = 0


def subjects(config: Config) -> dict[str, Subject]:
    """Return what there is to trace: every uplink that leads to an address."""
    leads = toward(config)
    return {
        uplink.name: Subject(uplink.pin, leads[uplink.name], uplink.gateway, flow)
        for flow, uplink in enumerate(config.uplinks)
        if uplink.name in leads
    }


async def trace(subjects: Mapping[str, Subject], asked: Callable[[Sequence[Question]], Awaitable[list[Answer]]] = ask
    ) -> dict[str, Way | Failed]:  # fmt: skip
    """Trace the first routers of every one of *subjects*, by name."""
    answers = await asked([Trace(one.target, one.pin, most=_MOST, flow=one.flow) for one in subjects.values()])
    found: dict[str, Way | Failed] = {}
    for (name, subject), answer in zip(subjects.items(), answers, strict=True):
        if isinstance(answer, Traced):
            found[name] = _way(answer, subject)
        elif isinstance(answer, Failed):
            found[name] = answer
    return found


def _way(traced: Traced, subject: Subject) -> Way:
    hops = tuple(hop.address for hop in traced.hops[: -1 if traced.reached else None])
    bound = subject.pin.interface is not None
    ours = our_side(hops, traced.source, gateway=subject.gateway, bound=bound)
    return Way(traced.source, hops, ours=ours, bound=bound)


class Prover:
    """Tells a `PinsSeen` for each round, and keeps the routes. Create it inside a running event loop.

    Args:
        clock: Where time comes from.
        tell: Called with each round.
        learnt: Called after it, if anything of the routes is known now that was not before.
        tell_trouble: Called once for each way in which we cannot trace.
        asked: Who answers the questions: the helper process.

    Attributes:
        routes: What is known of the routes.
    """

    def __init__(
        self, clock: Clock, tell: Callable[[Observation], None], learnt: Callable[[Routes], Awaitable[None]],
        tell_trouble: Callable[[str], None], *,
        asked: Callable[[Sequence[Question]], Awaitable[list[Answer]]] = ask,
    ) -> None:  # fmt: skip
        self.routes = Routes()
        self._clock, self._tell, self._learnt, self._tell_trouble = clock, tell, learnt, tell_trouble
        self._asked = asked
        self._subjects: dict[str, Subject] = {}
        self._every_s = 0.0
        self._wake = asyncio.Event()
        self._task: asyncio.Task[None] | None = None
        self._last: dict[object, object] = {}
        self._lost: set[str] = set()
        self._troubles: set[str] = set()

    def apply(self, subjects: Mapping[str, Subject], every_ns: int) -> None:
        """Trace these *subjects*, by their uplinks' names, from now on; at once if they are others than before."""
        if dict(subjects) != self._subjects:
            self._wake.set()
        self._subjects, self._every_s = dict(subjects), every_ns / NS_PER_S
        if self._task is None:
            self._task = asyncio.create_task(self._run())

    def heed(self, effect: Effect) -> None:
        """Heed what the judge says: a lost pin teaches nothing of its line, and a change calls for a proof."""
        if isinstance(effect, PinChanged):
            (self._lost.add if effect.proved is False else self._lost.discard)(effect.uplink)
        elif isinstance(effect, StateChanged | CarryingChanged):
            self._wake.set()

    def watch(self, seen: Observation) -> None:
        """Look for changes that a proof does not outlive: of a link, of the kernel's route, of a public address."""
        if isinstance(seen, Sample):
            if seen.series.role is Role.EGRESS and seen.series.uplink != UNPINNED and seen.facts is not None:
                self._compare((seen.series.uplink, seen.series.target), seen.facts.get("address"))
        elif isinstance(seen, LinkSeen):
            self._compare(seen.uplink, (seen.carrier, seen.address, seen.interface))
        elif isinstance(seen, RouteSeen):
            self._compare(RouteSeen, seen.uplink)

    def _compare(self, of: object, now: object) -> None:
        if self._last.get(of) != now:
            self._last[of] = now
            self._wake.set()

    async def close(self) -> None:
        """Stop at once, and leave no helper process behind."""
        if self._task is not None:
            self._task.cancel()
            await asyncio.gather(self._task, return_exceptions=True)
            self._task = None

    async def _run(self) -> None:
        loop = asyncio.get_running_loop()
        began_s = loop.time() - _APART_S
        while True:
            await asyncio.sleep(max(_SETTLE_S, began_s + _APART_S - loop.time()))
            began_s = loop.time()
            self._wake.clear()
            await self._round()
            rest_s = min(self._every_s, _CLOSELY_S) if self._lost else self._every_s
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(self._wake.wait(), max(0.0, began_s + rest_s - loop.time()))

    async def _round(self) -> None:
        found = await trace(self._subjects, self._asked)
        for answer in found.values():
            if isinstance(answer, Failed) and answer.cause in _OURS and answer.why not in self._troubles:
                self._troubles.add(answer.why)
                self._tell_trouble(
                    f"cannot trace the first routers, so pins are proved by public addresses alone: {answer.why}"
                )
        ways = {name: answer for name, answer in found.items() if isinstance(answer, Way)}
        seen = PinsSeen(self._clock.now_ns(), self._clock.now_unix_ns(), ways)
        self._tell(seen)
        own = {name: way for name, way in ways.items() if name not in self._lost}
        if self.routes.note(own, seen.at_unix_ns):
            await self._learnt(self.routes)
