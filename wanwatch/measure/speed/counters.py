"""What a line carries besides us: an interface's counters, from this machine or from the gateway.

Source: Linux Documentation/ABI/testing/sysfs-class-net-statistics.
"""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from wanwatch.config.uplink import Uplink
from wanwatch.core.account.beside import Reading, is_busy, rate_bps
from wanwatch.core.account.speed_result import Direction
from wanwatch.core.errors import WanwatchError
from wanwatch.core.ports import Clock
from wanwatch.measure.speed.gauges import port_bps
from wanwatch.measure.speed.snmp import SnmpCounters


class CountersError(WanwatchError):
    """This machine's own counters cannot be read."""

    def __init__(self, interface: str, error: OSError | ValueError) -> None:
        super().__init__(f"counters of {interface!r}: {error}; check uplink.pin.interface")


class Counters(Protocol):
    """Where counters are read.

    Attributes:
        every_s: How often they are worth reading.
        look_s: How long to look at them for a rate.
        own_bps: The interface's own rate, None where it has none or none is known yet.
    """

    every_s: float
    look_s: float
    own_bps: int | None

    async def read(self) -> Reading:
        """Return the counters now; raises WanwatchError where they cannot be had."""

    def close(self) -> None:
        """Let go of what reading takes."""


@dataclass(slots=True)
class LocalCounters:
    """An interface of this machine."""

    interface: str
    clock: Clock
    every_s: float = 0.25
    look_s: float = 3.0
    own_bps: int | None = None

    async def read(self) -> Reading:
        """Return the counters now."""
        folder = Path("/sys/class/net", self.interface, "statistics")
        self.own_bps = port_bps(self.interface)
        try:
            down, up = (int((folder / f"{way}_bytes").read_text("ascii")) for way in ("rx", "tx"))
        except (OSError, ValueError) as error:
            raise CountersError(self.interface, error) from error
        return Reading(self.clock.now_ns(), down, up)

    def close(self) -> None:
        """There is nothing to let go of."""


def counters(uplink: Uplink, clock: Clock) -> Counters | None:
    """Return where an uplink's counters are read: as configured, else at its pin's interface; None: nowhere."""
    table = uplink.counters
    if table is None:
        return LocalCounters(uplink.pin.interface, clock) if uplink.pin.interface else None
    return SnmpCounters(table, clock)


def capacity_bps(uplink: Uplink, direction: Direction, own_bps: int | None) -> float | None:
    """Return what a line carries: what is sold, else what its port does, else what its interface does."""
    contract = uplink.contract
    sold = (contract.down_mbps if direction is Direction.DOWN else contract.up_mbps) if contract else None
    mbps = sold or uplink.handoff.link_mbps
    return mbps * 1e6 if mbps else own_bps


@asynccontextmanager
async def watching(source: Counters | None) -> AsyncIterator[list[Reading]]:
    """Read *source* again and again, and give the readings as they grow; none where it cannot be read."""
    readings: list[Reading] = []

    async def go_on(source: Counters) -> None:
        with suppress(WanwatchError):  # a test is worth something without them
            while True:
                readings.append(await source.read())
                await asyncio.sleep(source.every_s)

    task = asyncio.create_task(go_on(source)) if source is not None else None
    try:
        yield readings
    finally:
        if task is not None and source is not None:
            task.cancel()
            await asyncio.gather(task, return_exceptions=True)
            source.close()


async def busy_now(uplink: Uplink, share: float, clock: Clock) -> bool:
    """Return whether a line carries so much at this moment that a test should wait; False where nothing is counted.

    Raises:
        WanwatchError: Its counters cannot be read.
    """
    source = counters(uplink, clock)
    if source is None:
        return False
    try:
        readings = [await source.read()]
        await asyncio.sleep(source.look_s)
        readings.append(await source.read())
    finally:
        source.close()
    return any(is_busy(rate_bps(readings, way), capacity_bps(uplink, way, source.own_bps), share) for way in Direction)
