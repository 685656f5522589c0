"""Forwarding: sends the record to the receivers of the configuration, each by a line that is up."""

import asyncio
import logging
import socket
from collections.abc import Callable
from functools import partial
from typing import Any, Final

from wanwatch.config import Config
from wanwatch.config.plan import store_path
from wanwatch.config.remote_write import RemoteWrite
from wanwatch.core.judge import SiteJudge
from wanwatch.core.model import Pin, State
from wanwatch.core.ports import Clock
from wanwatch.measure.sockets import open_pinned
from wanwatch.publish.remote_write import Forwarder, NoSnappyError, Receiver, Source, Way, needs_snappy
from wanwatch.store import SqliteKeeper, SqliteRecord
from wanwatch.store.last_run import recalled

log = logging.getLogger("wanwatch")

POSITION: Final = "remote-write "
"""With the URL behind it, under what the position is kept: the first minute that was not delivered."""


class Forwarding:
    """All forwarders of the daemon.

    Args:
        clock: Where time comes from.
        keeper: Where positions are kept.
        judge: Who knows how each uplink is, and who carries; None before there is one.
    """

    def __init__(self, clock: Clock, keeper: SqliteKeeper, judge: Callable[[], SiteJudge | None]) -> None:
        self._clock, self._keeper, self._judge = clock, keeper, judge
        self._running: dict[RemoteWrite, asyncio.Task[None]] = {}
        self._pins: dict[str, Pin] = {}

    async def apply(self, config: Config) -> None:
        """Send to these receivers from now on; what did not change goes on undisturbed."""
        self._pins = {uplink.name: uplink.pin for uplink in config.uplinks}
        wanted = config.remote_writes if _can_send(config) else ()
        await self._end(set(self._running) - set(wanted))
        for receiver in wanted:
            if receiver not in self._running:
                self._running[receiver] = asyncio.create_task(self._forwarder(config, receiver).run())

    async def close(self) -> None:
        """Stop sending."""
        await self._end(set(self._running))

    async def _end(self, receivers: set[RemoteWrite]) -> None:
        tasks = [self._running.pop(receiver) for receiver in receivers]
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)

    def _forwarder(self, config: Config, to: RemoteWrite) -> Forwarder:
        path, site, key = store_path(config), config.site.name, POSITION + to.url
        kept = recalled(path, site, key)
        source = Source(
            site=site,
            open_record=partial(SqliteRecord, path),
            writable=lambda: self._keeper.healthy,
            position=kept if isinstance(kept, int) else None,
            keep=partial(self._keeper.remember, key),
        )
        way = self._way if to.through == "up" else lambda: _opened_by(Pin())
        return Forwarder(_receiver(to), source, way=way, tell=log.warning, clock=self._clock)

    def _way(self) -> Way | None:
        """The line that carries, if it works; else the first that does, rather up than impaired."""
        judge = self._judge()
        if judge is None:
            return None
        for wanted in (State.UP, State.IMPAIRED):
            fit = [name for name in self._pins if name in judge.states and judge.states[name].state is wanted]
            if fit:
                return _opened_by(self._pins[next((name for name in fit if name in judge.carrying.carriers), fit[0])])
        return None


def _can_send(config: Config) -> bool:
    """Whether what sending needs is there; a missing extra is told, and stops no watching."""
    try:
        needs_snappy()
    except NoSnappyError as error:
        if config.remote_writes:
            log.error("%s", error)  # noqa: TRY400  # a person's mistake, not a crash
        return False
    return True


def _receiver(to: RemoteWrite) -> Receiver:
    return Receiver(
        to.url,
        to.back_fill_ns,
        bearer=to.bearer_token.get_secret_value() if to.bearer_token else None,
        user=to.user,
        password=to.password.get_secret_value() if to.password else None,
        ca_file=to.ca_file,
    )


def _opened_by(pin: Pin) -> Way:
    def opened(address: Any) -> socket.socket:
        family, kind, protocol, *_ = address
        return open_pinned(pin, family, kind, protocol)

    return opened
