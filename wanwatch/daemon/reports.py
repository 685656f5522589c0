"""Reports: each month is written when it is over, by a process that waits until nobody else wants to run."""

import logging
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Final

from wanwatch.config import Config
from wanwatch.core.account.calendar import local_time
from wanwatch.core.account.period import month_before, month_of
from wanwatch.core.ports import Clock
from wanwatch.process import output_when_idle

log = logging.getLogger("wanwatch")

COMMAND: Final = (sys.executable, "-P", "-m", "wanwatch", "report", "--keep", "--config")
_LONGEST_S: Final = 6 * 3600.0
"""It runs only when the machine is idle; a busy day must not end it."""


class Reports:
    """Asks for the last whole month's reports, once for each month and once after each start.

    Args:
        path: The configuration's file; None: there is none, and nothing is written.
        config: Returns the configuration in force.
        clock: Where time comes from.
        command: What is run, before the path of the configuration.
    """

    def __init__(
        self, path: Path | None, config: Callable[[], Config], clock: Clock, command: Sequence[str] = COMMAND
    ) -> None:
        self._path, self._config, self._clock, self._command = path, config, clock, command
        self._done = ""

    async def look(self) -> None:
        """Let the last month be written, if that was not done yet; what failed is tried again the next time."""
        config = self._config()
        today = local_time(self._clock.now_unix_ns(), config.site.zone)
        month = month_before(month_of(today.year, today.month, config.site.zone), config.site.zone).name
        if self._path is None or month == self._done or not config.report.monthly:
            return
        if await self._write(self._path, month):
            self._done = month

    async def _write(self, path: Path, month: str) -> bool:
        said, why = await output_when_idle((*self._command, str(path)), _LONGEST_S)
        for written in said.decode(errors="replace").splitlines():
            log.info("wrote the report %s", written)
        if why is not None:
            log.warning("the report of %s was not written: %s", month, why)
        return why is None
