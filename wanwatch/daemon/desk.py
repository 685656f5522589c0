"""Desk: where events are kept first, and told only then, in the order in which they were concluded."""

import asyncio
import contextlib
import logging
from collections.abc import Callable
from typing import Final

from wanwatch.clock import with_clock_quality
from wanwatch.core.model import Event
from wanwatch.core.ports import Keeper
from wanwatch.publish import sentence

log = logging.getLogger("wanwatch")

RETRY_S: Final = 2.0
DRAIN_S: Final = 0.5


class EventDesk:
    """Keeps events in the record, and tells each once it is there.

    Args:
        keeper: The record.
        tell: Who hears of an event that is kept.
    """

    def __init__(self, keeper: Keeper, tell: Callable[[Event], None]) -> None:
        self._keeper, self._tell = keeper, tell
        self._waiting: asyncio.Queue[Event] = asyncio.Queue()

    def take(self, event: Event) -> None:
        """Take in an event as the judge told it; how good the clock is goes with it."""
        self._waiting.put_nowait(with_clock_quality(event))

    async def run(self) -> None:
        """Keep and tell what was taken in, for ever."""
        while True:
            event = await self._waiting.get()
            await self._keep_and_tell(event)
            self._waiting.task_done()

    async def drain(self) -> None:
        """Wait until nothing waits, within reason: a full disk must not keep us from leaving."""
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(self._waiting.join(), DRAIN_S)

    async def _keep_and_tell(self, event: Event) -> None:
        while not await self._keeper.event(event):  # noqa: ASYNC110  # the keeper tries by itself, and tells nobody
            await asyncio.sleep(RETRY_S)  # what is not on disk is not told; the keeper has said why, once
        log.info("%s [%s]", sentence(event), event.id)
        self._tell(event)
