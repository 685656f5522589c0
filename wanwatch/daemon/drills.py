"""Drills: what the record says of failovers that were rehearsed, or should have been."""

import asyncio
import logging
from collections.abc import Callable

from wanwatch.config import Config
from wanwatch.config.plan import drills_every, store_path
from wanwatch.core.drill import Rehearsal, due_says, rehearsals
from wanwatch.core.model import Json
from wanwatch.core.ports import Clock
from wanwatch.store.last_run import drills_kept

log = logging.getLogger("wanwatch")


class Drills:
    """When each uplink's failover was last rehearsed; a command keeps drills, so the record is read for them.

    Args:
        clock: Where time comes from.
        show: Who shows it.
    """

    def __init__(self, clock: Clock, show: Callable[[list[Rehearsal], int], None]) -> None:
        self._clock = clock
        self._show = show
        self._known: list[Rehearsal] = []

    async def look(self, config: Config) -> None:
        """Read the record again; while it cannot be read, what was known holds."""
        kept = await asyncio.to_thread(drills_kept, store_path(config), config.site.name)
        if kept is not None:
            self._known = rehearsals(kept, drills_every(config))
        self._show(self._known, self._clock.now_unix_ns())

    def remind(self) -> None:
        """Log which drills are overdue."""
        now_unix_ns = self._clock.now_unix_ns()
        for rehearsal in self._known:
            if rehearsal.overdue(now_unix_ns):
                log.warning("%s", due_says(rehearsal, now_unix_ns))

    def to_json(self) -> list[Json]:
        """How they stand, as `/health` shows it."""
        return [rehearsal.to_json(self._clock.now_unix_ns()) for rehearsal in self._known]
