"""Probing: all that asks the network for the daemon, begun, changed and ended together."""

import asyncio
import logging
from collections.abc import Awaitable, Callable, Sequence

from wanwatch.config import Config
from wanwatch.config.plan import route_map, toward
from wanwatch.core.model import Effect, Event, Observation, Pace, Question
from wanwatch.core.ports import Clock
from wanwatch.core.resolving import Inspection, NamesSeen
from wanwatch.core.routes import Routes
from wanwatch.measure.inspector import Inspector
from wanwatch.measure.measurer import Measurer
from wanwatch.measure.prover import Prover, subjects
from wanwatch.measure.route import Answer
from wanwatch.measure.route import Question as RouteQuestion
from wanwatch.measure.tracer import Tracer
from wanwatch.measure.watch import LinkWatch, RouteWatch

log = logging.getLogger("wanwatch")


class Probing:
    """The rooms of measure that run as long as the daemon does. Create it inside a running event loop.

    Args:
        clock: Where time comes from.
        observe: Called with each observation.
        inspected: Called with each inspection of the resolvers.
        learnt: Called when more is known of the routes.
        told: Called with an event that was told already, once its route is known.
        traced: Who traces routes.
    """

    def __init__(
        self, clock: Clock, observe: Callable[[Observation], None], inspected: Callable[[NamesSeen], None],
        learnt: Callable[[Routes], Awaitable[None]], told: Callable[[Event], None], *,
        traced: Callable[[Sequence[RouteQuestion]], Awaitable[list[Answer]]],
    ) -> None:  # fmt: skip
        self.measurer = Measurer(clock, observe)
        self.prover = Prover(clock, observe, learnt, log.info, asked=traced)
        self.tracer = Tracer(clock, told, asked=traced)
        self._links = LinkWatch(clock, observe)
        self._routes = RouteWatch(clock, observe)
        self._inspector = Inspector(clock, inspected)

    async def apply(self, config: Config, asked: Sequence[Question], planned: Sequence[Inspection]) -> None:
        """Ask and inspect this from now on; what did not change goes on undisturbed."""
        await self.measurer.apply(asked)
        pins = {uplink.name: uplink.pin for uplink in config.uplinks}
        await self._links.apply(pins, toward=toward(config))
        await self._routes.apply(route_map(config))
        self.prover.apply(subjects(config), config.carrying.prove_every_ns)
        self.tracer.apply(subjects(config))
        await self._inspector.apply(planned)

    def heed(self, effect: Effect) -> None:
        """Heed what the judge says."""
        if isinstance(effect, Pace):
            self.measurer.pace(effect.uplink, quick=effect.quick)
        self.prover.heed(effect)
        self.tracer.heed(effect)

    async def close(self) -> None:
        """Stop at once."""
        rooms = (self.measurer, self._links, self._routes, self._inspector, self.prover, self.tracer)
        await asyncio.gather(*(room.close() for room in rooms))
