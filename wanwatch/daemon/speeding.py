"""Speeding: speed tests that the daemon makes by itself, one after the other, and never where they would do harm."""

import asyncio
import logging
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import partial
from typing import Any, Final, Literal

from apscheduler.schedulers.asyncio import AsyncIOScheduler

from wanwatch.config import Config
from wanwatch.config.plan import store_path
from wanwatch.config.schema import Speed
from wanwatch.config.testuse import longest_s, most_bytes
from wanwatch.config.units import Schedule
from wanwatch.config.uplink import Uplink
from wanwatch.core.account.calendar import local_time, month_span
from wanwatch.core.account.speed_result import Direction, Run, SpeedResult
from wanwatch.core.databudget import Purpose
from wanwatch.core.errors import WanwatchError
from wanwatch.core.manners import HOPELESS, LOOKED_AT, WORDS, Reason, Standing, held_off
from wanwatch.core.model import (
    NS_PER_S,
    CarryingChanged,
    Effect,
    Event,
    Json,
    Measurement,
    MeasurementKind,
    Observation,
    Pace,
    Span,
    SpeedSeen,
    StateChanged,
)
from wanwatch.core.ports import Clock, Keeper
from wanwatch.daemon.metering import Metering
from wanwatch.measure.speed import BusyError, SpeedError, busy_now, run_speed_test
from wanwatch.publish.speed_metrics import SpeedMetrics
from wanwatch.store import SqliteRecord, StoreError

log = logging.getLogger("wanwatch")

_JOB: Final = "speed"
RETRY_S: Final = 15.0
"""Between looks at whether a test that was held off may begin."""


class _NotKeptError(SpeedError):
    """A test that cannot be kept is not made."""

    def __init__(self) -> None:
        super().__init__("the record cannot be written")


@dataclass(slots=True, kw_only=True)
class Speeding:
    """Makes the tests. Create it inside a running event loop.

    Args:
        clock: Where time comes from.
        keeper: Where tests are kept: as unfinished before anything is sent, whole afterwards.
        metering: Counts their data, and says what is left of a budget.
        metrics: Shows them.
        observe: Called with each direction that measured something, as it ends.
        states: Tells each uplink's state, as far as it is known.
        retry_s: Pause between looks at what holds a test off.
    """

    clock: Clock
    keeper: Keeper
    metering: Metering
    metrics: SpeedMetrics
    observe: Callable[[Observation], None]
    states: Callable[[], Mapping[str, StateChanged]]
    retry_s: float = RETRY_S
    _config: Config = field(init=False)
    _turn: asyncio.Lock = field(default_factory=asyncio.Lock)
    _task: asyncio.Task[None] | None = None
    _at: Schedule | None = None
    _quick: set[str] = field(default_factory=set)
    _moved_ns: int | None = None
    _last: dict[str, Mapping[str, Json]] = field(default_factory=dict)

    def follow(self, config: Config, scheduler: AsyncIOScheduler) -> None:
        """Test by this configuration from now on; a test under way goes on, and so does an interval that stays."""
        self._config = config
        for uplink in config.uplinks if config.speed is not None else ():
            self.metrics.begin(uplink.name)
            self.metering.show(uplink.name, Purpose.SPEED, 0)  # the first test may use as much as a month's probes
        at = config.speed.at if config.speed is not None else None
        if at != self._at:
            self._at = at
            if scheduler.get_job(_JOB):
                scheduler.remove_job(_JOB)
            if at is not None:
                jitter_s = at.jitter_ns / NS_PER_S or None
                scheduler.add_job(self.round, "interval", seconds=at.every_ns / NS_PER_S, jitter=jitter_s, id=_JOB)

    def heed(self, effect: Effect) -> None:
        """Heed what the judge says: what is silent at this moment, and when traffic moves."""
        if isinstance(effect, Pace):
            (self._quick.add if effect.quick else self._quick.discard)(effect.uplink)
        elif isinstance(effect, CarryingChanged):
            self._moved_ns = self.clock.now_ns()

    async def round(self) -> None:
        """Test every uplink, one after the other."""
        async with self._turn:
            self._task = asyncio.current_task()
            for uplink in self._config.uplinks:
                if self._config.speed is not None:
                    await self._patiently(uplink, self._config.speed)
            self._task = None

    async def close(self) -> None:
        """Stop at once, and leave no process behind; a test under way stays in the record as unfinished."""
        if self._task is not None:
            self._task.cancel()
            await asyncio.gather(self._task, return_exceptions=True)

    async def look(self) -> None:
        """Read from the record what tests have used this month, and the last of each uplink, whoever made them."""
        config, now_unix_ns = self._config, self.clock.now_unix_ns()
        day = local_time(now_unix_ns, config.site.zone)
        month = month_span(day.year, day.month, config.site.zone)
        kept = await asyncio.to_thread(partial(_tests, config, month))
        for uplink in config.uplinks:
            mine = [test for test in kept if test.uplink == uplink.name]
            self.metering.tested(uplink.name, sum(_number(test.result.get("data_bytes")) for test in mine))
            for test in mine:
                self._last[uplink.name] = test.result

    def to_json(self) -> list[Json]:
        """The last test of each uplink in this month or since the daemon began, as `/health` shows it."""
        names = (uplink.name for uplink in self._config.uplinks)
        return [_short(name, self._last[name]) for name in names if name in self._last]

    async def _patiently(self, uplink: Uplink, speed: Speed) -> None:
        until_ns = self.clock.now_ns() + speed.wait_ns
        while True:
            last = self.clock.now_ns() >= until_ns
            reason = await self._try(uplink, speed, last=last)
            if reason is None:
                return
            if reason in HOPELESS or last:
                await self._skip(uplink, reason)
                return
            await asyncio.sleep(self.retry_s)

    async def _try(self, uplink: Uplink, speed: Speed, *, last: bool) -> Reason | None:
        """Test *uplink* unless something holds the test off; return what does. The *last* time a line may be busy."""
        await self.look()
        reason = held_off(await self._standing(uplink, speed))
        if reason is not None:
            return reason
        if not last and await self._busy(uplink, speed):
            return Reason.BUSY
        try:
            result = await run_speed_test(
                self._config, uplink.name, self.clock, begun=self._begun, ended=partial(self._ended, uplink.name)
            )
        except BusyError:
            return Reason.ANOTHER_TEST
        except SpeedError as error:
            log.warning("%s: no speed test was made: %s", uplink.name, error)
            return Reason.NO_RECORD
        await self.keeper.measurement(result.measurement())
        self._show(result)
        await self.look()
        log.info("%s: speed test: %s", uplink.name, _says(result))
        return None

    async def _busy(self, uplink: Uplink, speed: Speed) -> bool:
        try:
            return await busy_now(uplink, float(speed.busy), self.clock)
        except WanwatchError as error:
            log.warning("%s: nobody can tell whether the line is busy: %s", uplink.name, error)
            return False

    async def _standing(self, uplink: Uplink, speed: Speed) -> Standing:
        now_unix_ns = self.clock.now_unix_ns()
        span = Span(now_unix_ns, now_unix_ns + longest_s(speed) * NS_PER_S)
        month = self.metering.month(uplink.name)
        return Standing(
            uplink=uplink.name,
            state=known.state if (known := self.states().get(uplink.name)) else None,
            quick=frozenset(self._quick),
            moved_ago_ns=None if self._moved_ns is None else self.clock.now_ns() - self._moved_ns,
            events=await asyncio.to_thread(partial(_events, self._config, span)),
            needs=most_bytes(speed, uplink),
            left=None if month is None else month.left_for_tests(),
        )

    async def _begun(self, result: SpeedResult) -> None:
        """Keep that a test begins, with all the data it may use: a kill from here on finds it counted."""
        if not await self.keeper.measurement(result.measurement()):
            raise _NotKeptError
        await self.look()
        self.metering.turn()

    def _ended(self, uplink: str, run: Run) -> None:
        if run.goodput is not None:
            now_ns, now_unix_ns = self.clock.now_ns(), self.clock.now_unix_ns()
            length_ns = int(run.goodput.seconds * NS_PER_S)
            way: Literal["down", "up"] = "down" if run.direction is Direction.DOWN else "up"
            self.observe(SpeedSeen(now_ns, now_unix_ns, uplink, way, run.goodput.bps, run.counts, length_ns))

    async def _skip(self, uplink: Uplink, reason: Reason) -> None:
        """Keep that a test was not made, and why: it says something about the day, and nothing about the line."""
        log.info("%s: speed test skipped: %s", uplink.name, WORDS[reason])
        result = SpeedResult(
            site=self._config.site.name, uplink=uplink.name, at_unix_ns=self.clock.now_unix_ns(), server="", runs=(),
            skipped=reason.value,
        )  # fmt: skip
        await self.keeper.measurement(result.measurement())
        self._show(result)
        self._last[uplink.name] = result.to_json()

    def _show(self, result: SpeedResult) -> None:
        if any(uplink.name == result.uplink for uplink in self._config.uplinks):  # it may have been taken out meanwhile
            self.metering.show(result.uplink, Purpose.SPEED, result.data_bytes)
            self.metrics.show(result)


def _tests(config: Config, month: Span) -> list[Measurement]:
    try:
        with SqliteRecord(store_path(config)) as record:
            return record.measurements(config.site.name, month, MeasurementKind.SPEED)
    except StoreError:
        return []


def _events(config: Config, span: Span) -> list[Event]:
    try:
        with SqliteRecord(store_path(config)) as record:
            return record.events(config.site.name, span, LOOKED_AT)
    except StoreError:
        return []


def _number(value: Json) -> int:
    return value if isinstance(value, int) else 0


def _short(uplink: str, test: Mapping[str, Any]) -> Json:
    told: dict[str, Json] = {"uplink": uplink, "at": test.get("at"), "skipped": test.get("skipped")}
    told["unfinished"] = test.get("unfinished", False)
    for way in ("down", "up"):
        run = test.get(way) or {}
        told[f"{way}_bps"] = (run.get("goodput") or {}).get("bps")
        told[f"{way}_counts"] = run.get("counts")
        told[f"{way}_busy"] = run.get("busy")
    return told


def _says(result: SpeedResult) -> str:
    return ", ".join(
        f"{run.direction} {run.goodput.bps / 1e6:.1f} Mbit/s" if run.goodput else f"{run.direction} {run.ending}"
        for run in result.runs
    )
