"""The steps that measure: each asks the network over the line's pin, and hands what came to the judges in core."""

import asyncio
from collections.abc import Awaitable, Callable, Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, replace
from functools import partial
from typing import Final, TypeVar

from wanwatch.accept.terms import terms_of
from wanwatch.config import Config
from wanwatch.config.plan import GATEWAY, inspections, questions, store_path
from wanwatch.config.uplink import Uplink
from wanwatch.core.acceptance import Handover, Item, Step
from wanwatch.core.acceptance import line as judged
from wanwatch.core.acceptance.line import LineSeen, MtuSeen, PortSeen
from wanwatch.core.acceptance.speed import speeds, untested
from wanwatch.core.acceptance.traffic import delays, heard, losses
from wanwatch.core.account.speed import MOST_WARM_UP_NS, Mark
from wanwatch.core.account.speed_result import Direction, SpeedResult
from wanwatch.core.model import (
    NS_PER_S,
    Json,
    Kind,
    Observation,
    Outcome,
    Question,
    Role,
    Sample,
    Series,
)
from wanwatch.core.ports import Clock
from wanwatch.core.resolving import NamesAnswer, NamesSeen
from wanwatch.core.way import is_private
from wanwatch.measure.inspector import Inspector
from wanwatch.measure.live import Look, look_closely
from wanwatch.measure.measurer import Measurer
from wanwatch.measure.port import read_port
from wanwatch.measure.route import Failed, Mtu
from wanwatch.measure.speed import BusyError, SpeedError, run_speed_test, turn
from wanwatch.store import keep_measurement

T = TypeVar("T")

Tell = Callable[[float, str], None]
"""Hears how much of a step is done, between 0 and 1, and what is seen so far."""

QUICK_NS: Final = NS_PER_S // 5
IDLE_S: Final = 12.0
_GATEWAY_S: Final = 1.0
_ROUNDS: Final = 3
_LOOK_EVERY_S: Final = 0.25
_BUSY_S: Final = 2.0
_PATIENCE_S: Final = 300.0
"""Another test has its turn for a minute or so; who waits longer waits for something else."""
_LIGHT: Final = frozenset({Kind.ECHO, Kind.STAMP})


@dataclass(frozen=True, slots=True, kw_only=True)
class Amount:
    """How much is measured: the length of the loss soak, and speed tests each way."""

    soak_ns: int
    tests: int

    def to_json(self) -> dict[str, Json]:
        """Return it as JSON values."""
        return {"soak_s": self.soak_ns / NS_PER_S, "tests": self.tests}


class Steps:
    """Measures the steps of one uplink's programme. One at a time, each inside a running event loop.

    Args:
        config: The configuration.
        uplink: Which.
        clock: Where time comes from.
        amount: How much is measured.
        tell: Hears of progress within a step.
    """

    def __init__(self, config: Config, uplink: Uplink, clock: Clock, amount: Amount, tell: Tell) -> None:
        self._config, self._uplink, self._clock, self._amount, self._tell = config, uplink, clock, amount, tell
        self._terms = terms_of(uplink)
        self._looked: Look | None = None
        asked = [question for question in questions(config) if question.series.uplink == uplink.name]
        self._line = [question for question in asked if question.series.role is Role.LINE]

    async def items(self, step: Step, given: Handover) -> tuple[Item, ...]:
        """Measure one step and return its items."""
        steps: Mapping[Step, Callable[[Handover], Awaitable[tuple[Item, ...]]]] = {
            Step.PIN: self._pin,
            Step.ADDRESS: self._address,
            Step.GATEWAY: self._gateway,
            Step.PORT: self._port,
            Step.MTU: self._mtu,
            Step.RESOLVERS: self._resolvers,
            Step.DELAY: self._delay,
            Step.LOSS: self._loss,
            Step.SPEED: self._speed,
        }
        return await steps[step](given)

    async def _look(self) -> Look:
        if self._looked is None:
            self._tell(0.0, "tracing the first routers, and the largest packet that passes")
            looks = await look_closely(self._config, self._clock)
            self._looked = next(one for one in looks if one.uplink.name == self._uplink.name)
        return self._looked

    async def _seen(self) -> LineSeen:
        found = await self._look()
        routers = found.routers
        return LineSeen(
            proved=found.proved, leaves_by=found.verdict.other, alone=len(self._config.uplinks) == 1,
            nat=found.verdict.nat, source=routers.source if routers else None, public=found.public,
            hops=routers.hops if routers else (),
        )  # fmt: skip

    async def _pin(self, _given: Handover) -> tuple[Item, ...]:
        return (judged.pin(await self._seen()),)

    async def _address(self, given: Handover) -> tuple[Item, ...]:
        return (judged.address(await self._seen(), given),)

    async def _gateway(self, _given: Handover) -> tuple[Item, ...]:
        found = await self._look()
        where = found.gateway or next(iter(found.routers.hops if found.routers else ()), None)
        if where is None:
            return (judged.gateway(None, 0, 0, beyond=False),)
        series = Series(self._uplink.name, GATEWAY, Kind.ECHO, Role.GATEWAY)
        own = Question(series, self._uplink.pin, where, None, QUICK_NS, QUICK_NS, 2 * NS_PER_S)
        samples = await self._listen([own, *_quick(self._line)], _GATEWAY_S)
        said = [sample.outcome for sample in samples if sample.series == series]
        beyond = any(one.outcome is Outcome.ANSWERED for one in samples if one.series != series)
        asked = sum(outcome is not Outcome.NOT_SENT for outcome in said)
        return (judged.gateway(where, said.count(Outcome.ANSWERED), asked, beyond=beyond),)

    async def _port(self, given: Handover) -> tuple[Item, ...]:
        link = (await self._look()).link
        if link is None or not link.interface:
            return (judged.port(None, given, self._terms.link_bps),)
        bps, duplex = read_port(link.interface)
        # A line ends in the interface that its pin names, unless a private address tells of a gateway of ours behind.
        gateway = (await self._look()).gateway
        ends_here = self._uplink.pin.interface is not None and (gateway is None or not is_private(gateway))
        return (judged.port(PortSeen(link.interface, bps, duplex, ends_here), given, self._terms.link_bps),)

    async def _mtu(self, _given: Handover) -> tuple[Item, ...]:
        found = []
        for family, answer in (await self._look()).mtus:
            if isinstance(answer, Mtu):
                found.append(MtuSeen(family, answer.size, answer.black_hole))
            else:
                found.append(MtuSeen(family, None, why=answer.why if isinstance(answer, Failed) else ""))
        return judged.mtu(found, self._terms.mtu)

    async def _resolvers(self, _given: Handover) -> tuple[Item, ...]:
        planned = [one for one in inspections(self._config) if one.question.series.uplink == self._uplink.name]
        answers: list[NamesAnswer] = []
        for number in range(_ROUNDS if planned else 0):
            self._tell(number / _ROUNDS, f"round {number + 1} of {_ROUNDS}")
            heard_of: asyncio.Future[NamesSeen] = asyncio.get_running_loop().create_future()
            inspector = Inspector(self._clock, partial(_once, heard_of))
            try:
                await inspector.apply(planned)
                answers += (await heard_of).answers
            finally:
                await inspector.close()
        return judged.resolvers(self._uplink.resolvers, answers)

    async def _delay(self, _given: Handover) -> tuple[Item, ...]:
        with await self._turn():
            samples = await self._listen(_quick(self._line), IDLE_S)
        return delays(heard(samples), self._terms.delays)

    async def _loss(self, _given: Handover) -> tuple[Item, ...]:
        soak_s = self._amount.soak_ns / NS_PER_S
        with await self._turn():
            samples = await self._listen(self._line, soak_s)
        return losses(heard(samples), self._terms.losses, soak_s)

    async def _listen(self, asked: Sequence[Question], length_s: float) -> list[Sample]:
        """Ask for so long, wait for what is still under way, and return every sample."""
        samples: list[Sample] = []
        measurer = Measurer(self._clock, partial(_sample, samples))
        try:
            await measurer.apply(asked)
            end_ns = self._clock.now_ns() + round(length_s * NS_PER_S)
            while (left_s := (end_ns - self._clock.now_ns()) / NS_PER_S) > 0:
                self._tell(1 - left_s / length_s, _so_far(samples))
                await asyncio.sleep(min(_LOOK_EVERY_S, left_s))
            await measurer.apply(())
            await asyncio.sleep(max((one.timeout_ns for one in asked), default=0) / NS_PER_S)
        finally:
            await measurer.close()
        return samples

    async def _speed(self, _given: Handover) -> tuple[Item, ...]:
        results: list[SpeedResult] = []
        for number in range(self._amount.tests):
            tell = partial(self._carried, number, {})
            test = partial(run_speed_test, self._config, self._uplink.name, self._clock, tell=tell, begun=self._keep)
            try:
                result = await self._patiently(test)
            except SpeedError as error:
                if not results:
                    return untested(str(error))
                break
            await self._keep(result)
            results.append(result)
        return speeds(results, self._terms) if results else untested("No tests were asked for")

    def _carried(self, number: int, first: dict[Direction, Mark], direction: Direction, mark: Mark) -> None:
        begun = first.setdefault(direction, mark)
        passed_ns = mark.at_ns - begun.at_ns
        seconds = self._config.speed.seconds if self._config.speed else 0
        done = min(1.0, passed_ns / (seconds * NS_PER_S + MOST_WARM_UP_NS))
        mbps = (mark.carried - begun.carried) * 8000 / passed_ns if passed_ns else 0.0
        half = 0.5 * (done + (direction is Direction.UP))
        told = f"test {number + 1} of {self._amount.tests}, {direction.value} {mbps:.4g} Mbit/s"
        self._tell((number + half) / self._amount.tests, told)

    async def _keep(self, result: SpeedResult) -> None:
        keep_measurement(store_path(self._config), result.site, result.measurement())

    async def _turn(self) -> AbstractContextManager[None]:
        """Take the site's turn: nobody's speed test fills the line that is measured meanwhile."""

        async def take() -> AbstractContextManager[None]:
            return _Taken(turn(self._config.site.data_dir))

        return await self._patiently(take)

    async def _patiently(self, work: Callable[[], Awaitable[T]]) -> T:
        """Do *work*, and wait while another test has its turn.

        Raises:
            BusyError: It has it for too long.
        """
        until_s = asyncio.get_running_loop().time() + _PATIENCE_S
        while True:
            try:
                return await work()
            except BusyError:
                if asyncio.get_running_loop().time() > until_s:
                    raise
                self._tell(0.0, "waiting for a speed test of this site to end")
                await asyncio.sleep(_BUSY_S)


class _Taken(AbstractContextManager[None]):
    """A turn that was taken already, and is let go at the end of the block."""

    def __init__(self, held: AbstractContextManager[None]) -> None:
        self._held = held
        held.__enter__()

    def __exit__(self, *error: object) -> None:
        self._held.__exit__(None, None, None)


def _quick(asked: Sequence[Question]) -> list[Question]:
    """Ask oftener: what is light at five a second, what is heavier once a second."""
    return [
        replace(one, every_ns=quick_ns, pulse_ns=quick_ns)
        for one in asked
        for quick_ns in [min(one.every_ns, QUICK_NS if one.series.kind in _LIGHT else NS_PER_S)]
    ]


def _sample(samples: list[Sample], seen: Observation) -> None:
    if isinstance(seen, Sample):
        samples.append(seen)


def _once(heard_of: "asyncio.Future[NamesSeen]", seen: NamesSeen) -> None:
    if not heard_of.done():
        heard_of.set_result(seen)


def _so_far(samples: Sequence[Sample]) -> str:
    told = heard(samples).values()
    return f"{sum(one.lost for one in told)} of {sum(one.sent for one in told)} lost"
