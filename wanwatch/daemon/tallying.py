"""Tallying: lets the report's own accounting say what promises have come to, by a process that gives way to all others.

An hour passes between two tallies, or half a minute where a line is down or has just been; and always twenty times what
the last one took of a processor, so that a slow machine is busy with it for a twentieth of the time at most. How long
it waited for its turn does not count: that the machine was busy with other things is no reason to rest.
"""

import asyncio
import json
import logging
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Final

from wanwatch.config import Config
from wanwatch.core.account.tally import Tally
from wanwatch.core.model import NS_PER_S, SWITCHES, Effect, EventKind, Tell
from wanwatch.core.ports import Clock
from wanwatch.process import output_when_idle
from wanwatch.publish.promises import Clause, PromiseFigures

log = logging.getLogger("wanwatch")

COMMAND: Final = (sys.executable, "-P", "-m", "wanwatch", "report", "--tally", "--config")
LOOK_S: Final = 5.0
FIRST_S: Final = 20
"""So long after its start the daemon has written its first samples, and its lines have been judged."""
OFTEN_S: Final = 30
SELDOM_S: Final = 3600
FAILED_S: Final = 600
_TIMES_AS_LONG: Final = 20
_LONGEST_S: Final = 3600.0
"""It runs only when the machine is idle."""


class Tallying:
    """Keeps the figures of promises fresh.

    Args:
        path: The configuration's file; None: there is none, and nothing is reckoned.
        config: Returns the configuration in force.
        clock: Where time comes from.
        figures: Who shows them.
        command: What is run, before the path of the configuration.
    """

    def __init__(
        self, path: Path | None, config: Callable[[], Config], clock: Clock, figures: PromiseFigures,
        command: Sequence[str] = COMMAND,
    ) -> None:  # fmt: skip
        self._path, self._config, self._clock = path, config, clock
        self._figures, self._command = figures, command
        self._next_ns = clock.now_ns() + FIRST_S * NS_PER_S
        self._seldom_ns = self._next_ns
        self._last: Tally | None = None
        self._stale = self._failed = False
        self._open: set[str] = set()

    async def run(self) -> None:
        """Reckon whenever it is due, for good; ends by being cancelled."""
        while True:
            await self.look()
            await asyncio.sleep(LOOK_S)

    def heed(self, effect: Effect) -> None:
        """Reckon soon after an outage or a switch, and again and again while an outage lasts."""
        if not isinstance(effect, Tell) or effect.event.kind not in SWITCHES | {EventKind.OUTAGE}:
            return
        self._stale = True
        if effect.event.kind is EventKind.OUTAGE:
            (self._open.add if effect.event.end is None else self._open.discard)(effect.event.id)

    async def look(self) -> None:
        """Reckon if it is due, and show what came of it."""
        self._show()
        if self._path is None or not self._figures.clauses or self._clock.now_ns() < self._due_ns():
            return
        self._stale = False
        began_ns = self._clock.now_ns()
        said, why = await output_when_idle((*self._command, str(self._path)), _LONGEST_S)
        if why is None:
            why = self._take(said)
        self._rest(began_ns, in_vain=why is not None or self._outdated())
        self._told(why)
        self._show()  # a month may have ended meanwhile

    def _show(self) -> None:
        self._figures.show(self._config(), self._clock.now_unix_ns())

    def _take(self, said: bytes) -> str | None:
        """Show what the process said; return why that cannot be done, such as after an upgrade underneath us."""
        try:
            self._last = Tally.from_json(json.loads(said))
        except (ValueError, KeyError, TypeError) as error:
            return f"what was printed is no tally: {error!r}"
        self._figures.take(self._last)
        return None

    def _rest(self, began_ns: int, *, in_vain: bool) -> None:
        took_s = 0.0 if self._last is None else self._last.cpu_s
        least_ns = int(max(FAILED_S if in_vain else OFTEN_S, _TIMES_AS_LONG * took_s) * NS_PER_S)
        self._next_ns = began_ns + least_ns
        self._seldom_ns = began_ns + max(least_ns, SELDOM_S * NS_PER_S)

    def _due_ns(self) -> int:
        return self._next_ns if self._stale or self._open or self._outdated() else self._seldom_ns

    def _outdated(self) -> bool:
        """Whether the last tally is of another month, or says nothing of a clause that is shown."""
        if self._last is None or self._clock.now_unix_ns() >= self._last.until_unix_ns:
            return True
        return bool(self._figures.clauses - {Clause(one.uplink, one.clause) for one in self._last.clauses})

    def _told(self, why: str | None) -> None:
        """Log a failure, once until it works again."""
        if why is not None and not self._failed:
            log.warning("promises were not reckoned, so what metrics say of them grows old: %s", why)
        self._failed = why is not None
