"""A whole test of one uplink: the site's turn, light probes before and during, and one direction after the other."""

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from dataclasses import replace
from typing import Final, TypeAlias

from wanwatch.config import Config, testuse
from wanwatch.config.named import uplink_of
from wanwatch.config.places import resolver
from wanwatch.config.plan import ca_file
from wanwatch.config.uplink import Uplink
from wanwatch.core.account.beside import FRAME_BYTES, is_busy, others_bps
from wanwatch.core.account.speed import Mark
from wanwatch.core.account.speed_result import Delay, Direction, Ending, Run, SpeedResult
from wanwatch.core.model import NS_PER_S, Observation, Sample
from wanwatch.core.ports import Clock
from wanwatch.measure.measurer import Measurer
from wanwatch.measure.resolvers import Way, look_up
from wanwatch.measure.speed import helper, where
from wanwatch.measure.speed.counters import capacity_bps, counters, watching
from wanwatch.measure.speed.reckon import best_kind, delay, run_of
from wanwatch.measure.speed.turn import turn
from wanwatch.measure.speed.where import AS_CONFIGURED, Asked, Place

Tell: TypeAlias = Callable[[Direction, Mark], None]
Begun: TypeAlias = Callable[[SpeedResult], Awaitable[None]]

_IDLE_S: Final = 2.0
"""Enough for twenty STAMP probes, so that one lost is 5 %."""
_RESOLVER_S: Final = 2.0


async def _nobody(_result: SpeedResult) -> None:
    pass


async def run_speed_test(
    config: Config,
    uplink: str,
    clock: Clock,
    *,
    asked: Asked = AS_CONFIGURED,
    tell: Tell = lambda _direction, _mark: None,
    begun: Begun = _nobody,
    ended: Callable[[Run], None] = lambda _run: None,
) -> SpeedResult:
    """Test one uplink now. It takes the site's turn, and whoever else wants it meanwhile is refused.

    Args:
        config: The configuration; its `[speed]` says against what.
        uplink: The uplink's name.
        clock: Where time comes from.
        asked: What is asked for otherwise than configured.
        tell: Called in the event loop with each mark of a direction that runs.
        begun: Awaited before anything is sent, with an unfinished result that has the most data it may move. Who keeps
            it has counted the test's data, whatever becomes of this process. What it raises ends the test.
        ended: Called with each direction as it ends.

    Returns:
        The result. Network trouble is the ending of a direction, and the other one is run all the same.

    Raises:
        NoUplinkError: There is no such uplink.
        SpeedError: No test was made: no server, or another test is under way.
    """
    line, speed = uplink_of(config, uplink), where.settings(config)
    places = [where.place(speed, direction) for direction in asked.directions]
    meant = where.as_asked(speed, asked)
    with turn(config.site.data_dir):
        result = SpeedResult(
            site=config.site.name, uplink=uplink, at_unix_ns=clock.now_unix_ns(),
            server=speed.server or " and ".join(at.url.geturl() for at in places), runs=(),
            asked={"seconds": meant.seconds, "connections": meant.connections},
            data_bytes=testuse.most_bytes(meant, line), unfinished=True,
        )  # fmt: skip
        await begun(result)
        runs: list[Run] = []
        for at in places:
            runs.append(await _direction(config, line, at, asked, clock, tell))
            ended(runs[-1])
    used = testuse.used_bytes(meant, line, tuple(runs))
    return replace(result, runs=tuple(runs), data_bytes=used, unfinished=False)


async def _direction(config: Config, uplink: Uplink, at: Place, asked: Asked, clock: Clock, tell: Tell) -> Run:
    addresses = await _addresses(config, uplink, at, clock)
    job = where.job(config, uplink, at, addresses, asked)
    if not addresses:
        why = "through its resolvers" if uplink.resolvers else "no resolvers are configured for it"
        return Run(direction=at.direction, ending=Ending.NO_NAME, why=why)
    samples: list[Sample] = []
    source = counters(uplink, clock)
    async with _probing(config, uplink, at, addresses[0], clock, samples), watching(source) as readings:
        await asyncio.sleep(_IDLE_S)
        began_ns = clock.now_ns()
        transfer = await helper.move(job, lambda mark: tell(at.direction, mark))
        if transfer.begin is not None:
            await asyncio.sleep(where.PROBE_TIMEOUT_NS / NS_PER_S)  # until the last probe's fate is known
    run = run_of(job, transfer, uplink.handoff, samples, _idle(samples, began_ns))
    mtu = uplink.handoff.mtu
    wire_ratio = (mtu + FRAME_BYTES) / (transfer.mss or mtu)
    others = others_bps(readings, transfer.marks, at.direction, wire_ratio)
    capacity = capacity_bps(uplink, at.direction, source.own_bps if source is not None else None)
    return replace(run, others_bps=others, busy=is_busy(others, capacity, float(where.settings(config).busy)))


def _idle(samples: list[Sample], began_ns: int) -> Delay | None:
    before = [sample for sample in samples if sample.sent_ns < began_ns]
    kind = best_kind(before)
    return delay(before, kind) if kind else None


@asynccontextmanager
async def _probing(
    config: Config, uplink: Uplink, at: Place, address: str, clock: Clock, samples: list[Sample]
) -> AsyncIterator[None]:
    def hear(said: Observation) -> None:
        if isinstance(said, Sample):
            samples.append(said)

    measurer = Measurer(clock, hear)
    try:
        await measurer.apply(list(where.probes(config, uplink, at, address)))
        yield
    finally:
        await measurer.close()


async def _addresses(config: Config, uplink: Uplink, at: Place, clock: Clock) -> list[str]:
    """Return where the server is, as the uplink's own resolvers say through it."""
    known = where.numeric(at.host)
    if known is not None:
        return [known]
    ways = [Way(uplink.pin, resolver(written), clock, ca_file(config)) for written in uplink.resolvers]
    return await look_up(ways, at.host, _RESOLVER_S, where.families(where.settings(config), uplink))
