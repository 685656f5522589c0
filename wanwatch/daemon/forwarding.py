"""Forwarding: sends the record to the receivers of the configuration, each by a line that is up."""

import asyncio
import logging
from collections.abc import Callable, Mapping
from functools import partial
from typing import Final, NamedTuple

from wanwatch.config import Config
from wanwatch.config.plan import store_path
from wanwatch.config.remote_write import RemoteWrite, receiver_names
from wanwatch.core.databudget import Purpose
from wanwatch.core.ports import Clock
from wanwatch.daemon.lines import Lines
from wanwatch.publish.receivers import Sending
from wanwatch.publish.remote_write import Forwarder, NoSnappyError, Receiver, Source, needs_snappy
from wanwatch.store import SqliteKeeper, SqliteRecord
from wanwatch.store.last_run import recalled

log = logging.getLogger("wanwatch")

POSITION: Final = "remote-write "
"""With the URL behind it, under what the position is kept: the first minute that was not delivered."""


class _Running(NamedTuple):
    forwarder: Forwarder
    task: asyncio.Task[None]


class Forwarding:
    """All forwarders of the daemon.

    Args:
        clock: Where time comes from.
        keeper: Where positions are kept.
        lines: Which lines work.
        show: Who shows how each receiver stands, by its name.
    """

    def __init__(
        self, clock: Clock, keeper: SqliteKeeper, lines: Lines,
        show: Callable[[Mapping[str, Sending]], None],
    ) -> None:  # fmt: skip
        self._clock, self._keeper, self._lines, self._show = clock, keeper, lines, show
        self._running: dict[RemoteWrite, _Running] = {}

    async def apply(self, config: Config) -> None:
        """Send to these receivers from now on; what did not change goes on undisturbed."""
        wanted = config.remote_writes if _can_send(config) else ()
        await self._end(set(self._running) - set(wanted))
        for receiver in wanted:
            if receiver not in self._running:
                forwarder = self._forwarder(config, receiver)
                self._running[receiver] = _Running(forwarder, asyncio.create_task(forwarder.run()))
        names = zip(receiver_names(wanted), wanted, strict=True)
        self._show({name: self._running[receiver].forwarder for name, receiver in names})

    async def close(self) -> None:
        """Stop sending."""
        await self._end(set(self._running))

    async def _end(self, receivers: set[RemoteWrite]) -> None:
        tasks = [self._running.pop(receiver).task for receiver in receivers]
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
        line = partial(self._lines.best if to.through == "up" else self._lines.any, Purpose.RECORD)
        return Forwarder(_receiver(to), source, line=line, tell=log.warning, clock=self._clock)


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
