"""Site: one site's daemon, from its start to its stop."""

import asyncio
import gc
import logging
import os
from collections.abc import Callable, Mapping
from datetime import UTC
from functools import partial
from pathlib import Path
from typing import Final

from apscheduler.schedulers.asyncio import AsyncIOScheduler

from wanwatch import __version__
from wanwatch.clock import RealClock
from wanwatch.config import Config, ConfigError, load
from wanwatch.config.plan import inspected, inspections, judge_settings, questions, store_path
from wanwatch.core.judge import SiteJudge
from wanwatch.core.model import (
    NS_PER_S,
    Afterword,
    Effect,
    Json,
    Observation,
    Question,
    Sample,
)
from wanwatch.core.ports import Clock
from wanwatch.core.resolving import NamesSeen
from wanwatch.core.routes import Routes
from wanwatch.daemon.acting import Acting
from wanwatch.daemon.desk import EventDesk
from wanwatch.daemon.drills import Drills
from wanwatch.daemon.forwarding import Forwarding
from wanwatch.daemon.front import Front
from wanwatch.daemon.lines import Lines
from wanwatch.daemon.metering import Metering
from wanwatch.daemon.noticing import Noticing
from wanwatch.daemon.pinging import Pinging
from wanwatch.daemon.probing import Probing
from wanwatch.daemon.reports import Reports
from wanwatch.daemon.resolving import Inspections
from wanwatch.daemon.signals import obey
from wanwatch.daemon.speeding import Speeding
from wanwatch.daemon.tallying import Tallying
from wanwatch.measure.route import ask
from wanwatch.publish import Metrics, ServiceManager
from wanwatch.store import SqliteKeeper
from wanwatch.store.last_run import ROUTES, last_run, recalled

log = logging.getLogger("wanwatch")

# The judge decides by elapsed time as well as by samples; a tenth of a second is well inside every bound it gives.
TICK_S: Final = 0.1
METRICS_TICK_S: Final = 1.0
METER_S: Final = 30
# Names, minutes and events outlive the raw samples, so that two years stand side by side in a report.
KEEP_ROWS_NS: Final = 25 * 31 * 86_400 * NS_PER_S


class Daemon:
    """One site's daemon.

    Args:
        config: A valid configuration.
        path: The file it came from, read again on reload; None if there is none.
        clock: Where time comes from.
        on_effect: Called with every effect after it has been acted upon, for whoever wants to watch (the demo).
        environ: The process environment, for the service manager.
    """

    def __init__(
        self,
        config: Config,
        *,
        path: Path | None = None,
        clock: Clock | None = None,
        on_effect: Callable[[Effect], None] = lambda _effect: None,
        environ: Mapping[str, str] = os.environ,
    ) -> None:
        self._config, self._path = config, path
        self._clock = clock or RealClock()
        self._manager = ServiceManager(environ)
        self._metrics = Metrics(config.site.name, __version__)
        self._keeper = SqliteKeeper(store_path(config), config.site.name, self._clock, tell_trouble=log.warning)
        self._inspections = Inspections()
        self._drills = Drills(self._clock, self._metrics.drills.show)
        self._recall = partial(recalled, store_path(config), config.site.name)
        self._metering = Metering(self._clock, self._keeper, self._recall, self._metrics.data.count, self._carriers)
        self._lines = Lines(self._clock, lambda: self._judge, self._metering.sent)
        self._forwarding = Forwarding(self._clock, self._keeper, self._lines, self._metrics.receivers.show)
        self._noticing = Noticing(self._clock, self._keeper, self._lines, self._metrics.notices)
        self._pinging = Pinging(self._clock, self._lines, lambda: self._keeper.healthy, self._metrics.notices)
        self._scheduler = AsyncIOScheduler(timezone=UTC, job_defaults={"misfire_grace_time": None, "coalesce": True})
        self._desk = EventDesk(self._keeper, lambda event: self._acting.kept(event))  # noqa: PLW0108  # made below
        self._speeding = Speeding(
            clock=self._clock, keeper=self._keeper, metering=self._metering, metrics=self._metrics.speed,
            observe=self._observe, states=lambda: self._judge.states if self._judge is not None else {},
        )  # fmt: skip
        self._probing = Probing(
            self._clock, self._observe, self._inspected, self._learnt, self._desk.take,
            traced=self._metering.tracing(ask),
        )  # fmt: skip
        self._tasks: list[asyncio.Task[None]] = []
        self._front = Front(self._clock, self._metrics, lambda: self._config, self.health)
        self._tallying = Tallying(path, lambda: self._config, self._clock, self._metrics.promises)
        self._acting = Acting(
            keeper=self._keeper, metrics=self._metrics, probing=self._probing, desk=self._desk,
            told=(self._speeding.heed, self._tallying.heed, self._front.heed, self._noticing.heed, on_effect),
        )  # fmt: skip
        self._judge: SiteJudge | None = None
        self._started_unix_ns = 0
        self._turn = asyncio.Lock()

    @property
    def address(self) -> str:
        """Where the daemon listens, such as `http://127.0.0.1:9470`; valid once it has started."""
        return self._front.address

    async def start(self) -> None:
        """Open the store, listen, and begin to probe.

        Raises:
            WanwatchError: The data directory is in use or cannot be had, or the address to listen on cannot.
        """
        self._started_unix_ns = self._clock.now_unix_ns()
        self._keeper.open()
        try:
            self._judge = self._make_judge()
            await self._front.open()
        except BaseException:
            await self._keeper.close()
            raise
        self._metrics.follow(tuple(uplink.name for uplink in self._config.uplinks), self._config.voice.codec)
        self._tasks = [asyncio.create_task(run) for run in (self._tick(), self._desk.run(), self._tallying.run())]
        await self._speeding.look()
        await self._probe()
        self._scheduler.add_job(self._prune, "cron", hour=3, minute=17)
        self._scheduler.add_job(self._meter, "interval", seconds=METER_S)
        self._scheduler.add_job(self._speeding.look, "interval", minutes=5)
        await self._look_at_drills()
        self._drills.remind()
        self._scheduler.add_job(self._look_at_drills, "interval", minutes=1)
        self._scheduler.add_job(self._drills.remind, "cron", hour=9, timezone=self._config.site.zone)
        self._scheduler.add_job(self._front.look, "cron", hour=9, timezone=self._config.site.zone)
        self._scheduler.add_job(Reports(self._path, lambda: self._config, self._clock).look, "cron", minute=20)
        self._scheduler.start()
        self._manager.tell(
            "READY=1", f"STATUS=watching {len(self._config.uplinks)} uplinks of {self._config.site.name}"
        )
        log.info("watching %s: %s", self._config.site.name, ", ".join(uplink.name for uplink in self._config.uplinks))

    async def reload(self) -> None:
        """Read the configuration again; what did not change goes on undisturbed. Mistakes change nothing."""
        if self._path is None or self._judge is None:
            return
        self._manager.tell("RELOADING=1", f"MONOTONIC_USEC={self._clock.now_ns() // 1000}")
        try:
            config = load(self._path)
        except ConfigError as error:
            log.error("the configuration was not taken up, the former one stays in force:\n%s", error)  # noqa: TRY400  # a person's mistake, not a crash
        else:
            await self._take_up(config)
        self._manager.tell("READY=1")

    async def _take_up(self, config: Config) -> None:
        if (config.site.name, store_path(config)) != (self._config.site.name, store_path(self._config)):
            # Half of us would read a record that the other half does not write.
            log.error(
                "the configuration was not taken up, the former one stays in force: site.name or site.data_dir is "
                "another, so the record is; start the daemon anew"
            )
            return
        self._adopt(config)
        await self._front.look()
        await self._probe()
        await self._look_at_drills()
        log.info("the configuration was read again")

    async def stop(self) -> None:
        """Stop probing, write everything, and leave; within 2 s."""
        self._manager.tell("STOPPING=1")
        if self._scheduler.running:
            self._scheduler.shutdown(wait=False)
        await asyncio.gather(
            self._speeding.close(),
            self._forwarding.close(),
            self._pinging.close(),
            self._noticing.close(),
            self._probing.close(),
        )
        if self._judge is not None:
            self._metering.turn(stopping=True)
            self._act(self._judge.stop(self._clock.now_ns()))
        if self._tasks:
            await self._desk.drain()
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)
        await self._front.close()
        await self._keeper.close()

    async def run(self) -> None:
        """Start, obey signals (SIGHUP reloads, SIGTERM and SIGINT stop), and stop."""
        leave = obey(self.reload)
        await self.start()
        gc.freeze()  # what is there now stays; to walk over all of it again and again would hold up the probes
        leaving = asyncio.create_task(leave.wait())
        done, _ = await asyncio.wait({leaving, *self._tasks}, return_when=asyncio.FIRST_COMPLETED)
        leaving.cancel()
        await self.stop()
        for task in done - {leaving}:
            task.result()  # a task of ours ended: that is a fault, and the service manager starts us anew

    def health(self) -> dict[str, Json]:
        """How things stand: `status` is `ok` or says what is wrong with this program, not with the lines."""
        assert self._judge is not None  # noqa: S101  # nobody can ask before start() has made it
        carrying = self._judge.carrying
        return {
            "status": "ok" if self._keeper.healthy else "the store cannot be written",
            "site": self._config.site.name,
            "version": __version__,
            "started_unix_s": self._started_unix_ns // NS_PER_S,
            "carrying": {"uplink": carrying.uplink, "known": carrying.known, "shares": list(carrying.shares)},
            "uplinks": [
                {"name": name, "state": changed.state.value, "since_unix_s": changed.since_unix_ns / NS_PER_S}
                for name, changed in self._judge.states.items()
            ],
            "resolvers": self._inspections.to_json(),
            "drills": self._drills.to_json(),
            "data": self._metering.to_json(),
            "speed": self._speeding.to_json(),
            "notices": self._noticing.to_json(),
            "allowances": self._metrics.promises.to_json(),
            "ping": self._pinging.to_json(),
        }

    def _make_judge(self) -> SiteJudge:
        site = self._config.site.name
        memory, self._probing.prover.routes = last_run(store_path(self._config), site, self._started_unix_ns)
        self._follow()
        return SiteJudge(
            site,
            [uplink.name for uplink in self._config.uplinks],
            self._questions(),
            judge_settings(self._config),
            memory=memory,
        )

    def _adopt(self, config: Config) -> None:
        assert self._judge is not None  # noqa: S101  # reload() has looked
        self._config = config
        names = [uplink.name for uplink in config.uplinks]
        self._metrics.follow(tuple(names), config.voice.codec)
        self._follow()
        self._act(self._judge.reconfigure(names, self._questions(), judge_settings(config)))

    async def _learnt(self, routes: Routes) -> None:
        """Keep what is known of the routes, and ask the first hops that are the ladder's rungs from now on."""
        self._keeper.remember(ROUTES, routes.kept)
        self._adopt(self._config)
        await self._probing.measurer.apply(self._questions())

    def _follow(self) -> None:
        self._lines.follow(self._config)
        self._metering.follow(self._config, self._probing.prover.routes.first_hops)
        self._speeding.follow(self._config, self._scheduler)
        self._metrics.ask(question.series for question in (*self._questions(), *inspected(self._config)))

    def _questions(self) -> tuple[Question, ...]:
        return questions(self._config, self._probing.prover.routes.first_hops, self._metering.sparing)

    async def _probe(self) -> None:
        async with self._turn:  # a reload and a budget that runs out may meet
            planned = inspections(self._config, self._metering.sparing)
            self._inspections.follow({(one.question.series.uplink, one.question.series.target) for one in planned})
            await self._probing.apply(self._config, self._questions(), planned)
            await self._forwarding.apply(self._config)
            await self._pinging.apply(self._config)
            await self._noticing.apply(self._config)

    async def _meter(self) -> None:
        if self._metering.turn():
            self._adopt(self._config)
            await self._probe()

    def _carriers(self) -> tuple[str, ...]:
        return self._judge.carrying.carriers if self._judge is not None else ()

    async def _look_at_drills(self) -> None:
        await self._drills.look(self._config)
        self._metrics.promises.show(self._config, self._clock.now_unix_ns())

    def _observe(self, seen: Observation) -> None:
        if isinstance(seen, Sample):
            self._keeper.sample(seen)
            self._metrics.sample(seen)
            self._metering.sample(seen)
        elif isinstance(seen, Afterword):
            self._keeper.afterword(seen)
        else:
            self._keeper.sighting(seen)
        self._probing.prover.watch(seen)
        if self._judge is not None:
            self._acting.seen(self._judge, seen)

    def _inspected(self, seen: NamesSeen) -> None:
        self._metering.inspected(seen)
        self._metrics.resolving(self._inspections.take(seen, self._config.site.zone, self._keeper, self._recall))

    def _act(self, effects: list[Effect]) -> None:
        assert self._judge is not None  # noqa: S101  # whose effects they are
        self._acting.upon(self._judge, effects)

    async def _tick(self) -> None:
        """Let the judge see time pass, the counters of time grow, and the service manager know that we live."""
        assert self._judge is not None  # noqa: S101  # start() has made it
        loop = asyncio.get_running_loop()
        due_s = loop.time()
        watchdog_s = self._manager.watchdog_s
        fed_s = metrics_s = due_s
        while True:
            due_s = max(due_s + TICK_S, loop.time())
            await asyncio.sleep(due_s - loop.time())
            self._act(self._judge.tick(self._clock.now_ns(), self._clock.now_unix_ns()))
            if due_s - metrics_s >= METRICS_TICK_S:
                metrics_s = due_s
                self._metrics.tick(self._clock.now_ns())
            if watchdog_s is not None and due_s - fed_s >= watchdog_s:
                fed_s = due_s
                self._manager.tell("WATCHDOG=1")

    async def _prune(self) -> None:
        now_unix_ns = self._clock.now_unix_ns()
        await self._keeper.prune(now_unix_ns - self._config.site.keep_raw_ns, now_unix_ns - KEEP_ROWS_NS)
