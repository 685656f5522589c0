"""The forwarder: reads the record off the loop, sends it in order, and goes on where it stopped.

The record itself is the queue: it lies on the disk anyway, and a position in it is all that has to be kept besides. A
request that was delivered just before a crash, or whose answer was lost, is sent again with the same points; receivers
take them for the same, or refuse them as old.
"""

import asyncio
import base64
import logging
import sqlite3
from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import aiohttp

from wanwatch.core.errors import WanwatchError
from wanwatch.core.model import NS_PER_S
from wanwatch.core.ports import Clock, Record
from wanwatch.core.shown import shown
from wanwatch.publish.remote_write.minutes import NS_PER_MINUTE, series_of
from wanwatch.publish.remote_write.wire import compressed, write_request
from wanwatch.publish.retry import Said, meaning, wait_s
from wanwatch.publish.ways import Line, http_session, trouble, without_key

log = logging.getLogger("wanwatch")

FINAL_AFTER_NS: Final = 120 * NS_PER_S
"""A minute is sent so long after its end: by then it is on the disk, and its last probes are over."""
MINUTES_AT_ONCE: Final = 10
"""Of an office with 20 series, some 2,000 points and 20 kB."""
LOOK_EVERY_S: Final = 5.0
TIMEOUT_S: Final = 30.0
_WORDS: Final = 200
_HEADERS: Final = {
    "Content-Encoding": "snappy",
    "Content-Type": "application/x-protobuf",
    "X-Prometheus-Remote-Write-Version": "0.1.0",
}


@dataclass(frozen=True, slots=True)
class Receiver:
    """Where to send.

    Attributes:
        url: Where requests are posted.
        back_fill_ns: How far back minutes are still sent.
        bearer: The token to show (RFC 6750); never shown otherwise.
        user: The name for basic authentication (RFC 7617).
        password: Its password; never shown.
        ca_file: Certificate authorities that are trusted beside the system's own.
    """

    url: str
    back_fill_ns: int
    bearer: str | None = field(default=None, repr=False)
    user: str | None = None
    password: str | None = field(default=None, repr=False)
    ca_file: Path | None = None

    @property
    def authorization(self) -> dict[str, str]:
        """The header that shows who we are; none without a secret."""
        if self.bearer is not None:
            return {"Authorization": f"Bearer {self.bearer}"}
        if self.user is not None:
            pair = f"{self.user}:{self.password or ''}".encode()
            return {"Authorization": f"Basic {base64.b64encode(pair).decode()}"}
        return {}


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """What is sent, and from where on.

    Attributes:
        site: The site's name.
        open_record: Opens the record for reading; called on another thread.
        writable: Whether the record on the disk is whole; while it is not, its minutes may still come.
        position: The first minute that was not delivered yet; None if nothing ever was.
        keep: Keeps the position.
    """

    site: str
    open_record: Callable[[], AbstractContextManager[Record]]
    writable: Callable[[], bool]
    position: int | None
    keep: Callable[[int], None]


class Forwarder:
    """Sends one site's minutes to one receiver.

    Args:
        receiver: The receiver.
        source: The site's record.
        line: By which line to send now; None while none is up.
        tell: Called with a sentence when sending fails, works again, or is refused.
        clock: Where time comes from.

    Attributes:
        refused_s: So many seconds of the record were refused, and are left out.
    """

    def __init__(
        self,
        receiver: Receiver,
        source: Source,
        *,
        line: Callable[[], Line | None],
        tell: Callable[[str], None],
        clock: Clock,
    ) -> None:
        self._receiver, self._source = receiver, source
        self._line, self._tell_log, self._clock = line, tell, clock
        self._headers = _HEADERS | receiver.authorization
        self._position = source.position
        self._well = True
        self._refusal: str | None = None
        self.refused_s = 0

    def lag_s(self) -> float:
        """Return the seconds since the begin of the first minute to be delivered; none where a clock was set back."""
        now_unix_ns = self._clock.now_unix_ns()
        return max(0, now_unix_ns - self._due()[0] * NS_PER_MINUTE) / NS_PER_S

    async def run(self) -> None:
        """Send for good; ends by being cancelled."""
        while True:
            if not await self._stepped():
                await asyncio.sleep(LOOK_EVERY_S)

    async def _stepped(self) -> bool:
        try:
            return await self.step()
        except (WanwatchError, sqlite3.Error, OSError) as error:
            self._told_trouble(f"the record cannot be read: {error}")
        except Exception:  # whoever falls silent here would send nothing for good
            log.exception("remote write: a fault of this program; it is tried again")
        return False

    async def step(self) -> bool:
        """Send the next minutes, if there are any to send; whether there were."""
        first, after = self._due()
        if first > after + 1:  # a clock was set back, perhaps by years: nobody waits until it has caught up
            self._position = after
        if first >= after or not self._source.writable():
            return False
        body = await asyncio.to_thread(self._request, first, after)
        if body:
            await self._deliver(body, first, after)
        self._position = after
        self._source.keep(after)
        return True

    def _due(self) -> tuple[int, int]:
        now_unix_ns = self._clock.now_unix_ns()
        final = (now_unix_ns - FINAL_AFTER_NS) // NS_PER_MINUTE
        # However little is asked for, the minute that has just become final is sent.
        oldest = min((now_unix_ns - self._receiver.back_fill_ns) // NS_PER_MINUTE, final - 1)
        first = oldest if self._position is None else max(oldest, self._position)
        return first, min(final, first + MINUTES_AT_ONCE)

    def _request(self, first: int, after: int) -> bytes:
        with self._source.open_record() as record:
            series = series_of(record, self._source.site, first, after)
        return compressed(write_request(series)) if series else b""

    async def _deliver(self, body: bytes, first: int, after: int) -> None:
        attempt = 0
        while True:
            said, words, asked = await self._post(body)
            if said is Said.NEVER:
                self.refused_s += (after - first) * 60
                if words != self._refusal:  # a wrong token would else be told each minute for weeks
                    self._tell(
                        f"it refuses {after - first} minutes: {words}; they are left out, unless it had them before, "
                        "and so is what it refuses likewise; mend what it says, or its settings for old samples"
                    )
                self._refusal = words
                return
            if said is Said.DONE:
                self._refusal = None
                self._told_well()
                return
            attempt += 1
            self._told_trouble(words)
            await asyncio.sleep(wait_s(attempt, asked, self._clock.now_unix_ns() / NS_PER_S))

    async def _post(self, body: bytes) -> tuple[Said, str, str | None]:
        """Try once. Return what it came to, in words as well, and what Retry-After says."""
        line = self._line()
        if line is None:
            return Said.AGAIN, "no line is up", None
        try:
            async with (
                http_session(line, self._receiver.ca_file, TIMEOUT_S) as session,
                session.post(self._receiver.url, data=body, headers=self._headers, allow_redirects=False) as answer,
            ):
                heard = without_key((await answer.content.read(_WORDS)).decode("utf-8", "replace"), self._receiver.url)
                words = f"{answer.status} {answer.reason} {heard!r}"
                return meaning(answer.status), words, answer.headers.get("Retry-After")
        except (aiohttp.ClientError, OSError) as error:  # TimeoutError is an OSError
            return Said.AGAIN, trouble(error), None

    def _tell(self, said: str) -> None:
        self._tell_log(f"remote write to {shown(self._receiver.url)}: {said}")

    def _told_trouble(self, words: str) -> None:
        if self._well:
            self._tell(f"{words}; it is tried again, and nothing is left out")
        self._well = False

    def _told_well(self) -> None:
        if not self._well:
            self._tell("works again")
        self._well = True
