"""A sign of life: a URL is fetched now and then, so that somebody elsewhere notices when nobody fetches it any more.

Source:      RFC 9110 section 9.3.1 (GET); that silence is the alarm is common practice, no published source.
Departures:  the answer's body is not read, and redirections are not followed: only the status counts.
"""

import asyncio
import logging
from collections.abc import Callable, Sequence
from typing import Final

import aiohttp

from wanwatch.core.model import NS_PER_S, Json
from wanwatch.core.ports import Clock
from wanwatch.publish.retry import Said, meaning
from wanwatch.publish.ways import Line, http_session, trouble

log = logging.getLogger("wanwatch")

LIMIT_S: Final = 20.0
RETRY_S: Final = 15.0
UNWELL: Final = "the record cannot be written, so no sign of life is sent"


class Pinger:
    """Gives signs of life for one site.

    Args:
        url: What is fetched.
        every_s: How often, in seconds.
        ca_file: Certificate authorities (PEM) that are trusted beside the system's own.
        lines: The lines to try now, best first; empty while all are down.
        well: Whether there is life to give a sign of: a daemon that cannot keep what it sees had better be missed.
        show: Is told when a sign was last heard (Unix nanoseconds).
        clock: Where time comes from.
    """

    def __init__(
        self,
        url: str,
        every_s: float,
        ca_file: str | None,
        *,
        lines: Callable[[], Sequence[Line]],
        well: Callable[[], bool],
        show: Callable[[int], None],
        clock: Clock,
    ) -> None:
        self._url, self._every_s, self._ca_file = url, every_s, ca_file
        self._lines, self._well, self._show, self._clock = lines, well, show, clock
        self._heard_unix_ns: int | None = None
        self._trouble: str | None = None

    async def run(self) -> None:
        """Give signs for good; ends by being cancelled."""
        while True:
            before, self._trouble = self._trouble, await self.once()
            if self._trouble != before:
                log.warning("ping: %s", self._trouble or "heard again")
            await asyncio.sleep(self._every_s if self._trouble is None else min(RETRY_S, self._every_s))

    async def once(self) -> str | None:
        """Give a sign by the first line on which it is heard; return what was in the way, None where it was heard."""
        if not self._well():
            return UNWELL
        said = "no line is up"
        for line in self._lines():
            said_by = await self._by(line)
            if said_by is None:
                self._heard_unix_ns = self._clock.now_unix_ns()
                self._show(self._heard_unix_ns)
                return None
            said = f"by {line.name}: {said_by}"
        return said

    def to_json(self) -> dict[str, Json]:
        """How it stands, as `/health` shows it."""
        heard_unix_ns = self._heard_unix_ns
        heard_unix_s = None if heard_unix_ns is None else heard_unix_ns / NS_PER_S
        return {"heard_unix_s": heard_unix_s, "trouble": self._trouble}

    async def _by(self, line: Line) -> str | None:
        try:
            async with (
                http_session(line, self._ca_file, LIMIT_S) as session,
                session.get(self._url, allow_redirects=False) as answer,
            ):
                return None if meaning(answer.status) is Said.DONE else f"{answer.status} {answer.reason or ''}".strip()
        except (aiohttp.ClientError, OSError) as error:
            return trouble(error)
        except Exception as error:  # a sign of life must not end with its first fault
            log.exception("ping: a fault of this program")
            return type(error).__name__
