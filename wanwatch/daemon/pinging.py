"""Pinging: signs of life to the URL of the configuration, by a line that works."""

import asyncio
from collections.abc import Callable
from functools import partial

from wanwatch.config import Config
from wanwatch.config.plan import ca_file
from wanwatch.config.sending import Ping
from wanwatch.core.databudget import Purpose
from wanwatch.core.model import NS_PER_S, Json
from wanwatch.core.ports import Clock
from wanwatch.daemon.lines import Lines
from wanwatch.publish.notice_metrics import NoticeMetrics
from wanwatch.publish.notices.ping import Pinger


class Pinging:
    """The daemon's signs of life.

    Args:
        clock: Where time comes from.
        lines: Which lines work.
        well: Whether the daemon can do its work.
        metrics: Where machines see whether they are heard.
    """

    def __init__(self, clock: Clock, lines: Lines, well: Callable[[], bool], metrics: NoticeMetrics) -> None:
        self._clock, self._lines, self._well, self._metrics = clock, lines, well, metrics
        self._wanted: tuple[Ping | None, str | None] = (None, None)
        self._pinger: Pinger | None = None
        self._task: asyncio.Task[None] | None = None

    async def apply(self, config: Config) -> None:
        """Give signs as this configuration says from now on; what did not change goes on undisturbed."""
        wanted = (config.ping, ca_file(config))
        if wanted == self._wanted:
            return
        await self.close()
        self._wanted = wanted
        if config.ping is None:
            self._metrics.forget_heard()
            return
        self._pinger = Pinger(
            config.ping.url, config.ping.every_ns / NS_PER_S, ca_file(config), clock=self._clock,
            lines=partial(self._lines.not_down, Purpose.PING), well=self._well, show=self._metrics.heard,
        )  # fmt: skip
        self._task = asyncio.create_task(self._pinger.run())

    async def close(self) -> None:
        """Stop at once."""
        if self._task is not None:
            self._task.cancel()
            await asyncio.gather(self._task, return_exceptions=True)
        self._task = self._pinger = None
        self._wanted = (None, None)

    def to_json(self) -> dict[str, Json] | None:
        """How it stands, as `/health` shows it; None where no sign is given."""
        return None if self._pinger is None else self._pinger.to_json()
