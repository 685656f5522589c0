"""Stream: tells onlookers at once what has changed.

Nothing waits for an onlooker: what is told to one stands in a short queue of its own, and one that does not read it is
dropped. It comes again by itself and reads how things stand, so nothing is lost by that.

Source:   WHATWG HTML, section 9.2 (server-sent events).
"""

import asyncio
import json
from collections.abc import AsyncIterator, Callable
from contextlib import suppress
from typing import Final

from aiohttp import web

from wanwatch.core.model import Json

MOST: Final = 500
"""Onlookers at once; each costs a connection, and another one when it reads the page anew."""
TOGETHER: Final = 25
"""So many are told in one go; then whatever else is due has its turn: a probe must not wait for all of them."""
BEHIND: Final = 32
"""Messages that may wait for one onlooker."""
BEAT_S: Final = 2.0
_HEADERS: Final = {"Content-Type": "text/event-stream", "X-Accel-Buffering": "no"}
LONGEST_S: Final = 3600.0
"""So long after a session's end nobody looks on by it."""


class Stream:
    """All onlookers.

    Args:
        figures: What is told every two seconds, while anybody looks.
    """

    def __init__(self, figures: Callable[[], Json]) -> None:
        self._figures = figures
        self._onlookers: dict[asyncio.Queue[bytes], asyncio.Task[None]] = {}
        self._news: asyncio.Queue[bytes] = asyncio.Queue()

    def tell(self, kind: str, what: Json) -> None:
        """Tell everybody; returns at once, and whoever is too far behind is dropped."""
        self._news.put_nowait(f"event: {kind}\ndata: {json.dumps(what)}\n\n".encode())

    async def answer(self, request: web.Request) -> web.StreamResponse:
        """Answer an onlooker until it leaves, is dropped, or we stop."""
        if request.method == "HEAD":  # RFC 9110 section 9.3.2: no content, so there is nothing to wait for
            return web.Response(headers=_HEADERS)
        if len(self._onlookers) >= MOST:
            raise web.HTTPServiceUnavailable(text="too many are looking on", headers={"Retry-After": "10"})
        response = web.StreamResponse(headers=_HEADERS)
        queue: asyncio.Queue[bytes] = asyncio.Queue(BEHIND)
        queue.put_nowait(b"retry: 2000\n\n")
        sending = asyncio.create_task(self._send(request, response, queue))
        self._onlookers[queue] = sending
        try:
            await asyncio.wait({sending}, timeout=LONGEST_S)
        finally:
            self._onlookers.pop(queue, None)
            sending.cancel()
            if request.transport is not None:  # to say goodbye to somebody who does not read would take for ever
                request.transport.abort()
        return response

    async def beat(self, _app: web.Application) -> AsyncIterator[None]:
        """While the application runs, pass on what is told, and the figures."""
        going = [asyncio.create_task(self._beat()), asyncio.create_task(self._pass_on())]
        yield
        for task in going:
            task.cancel()

    async def let_go(self, _app: web.Application) -> None:
        """End all streams: the application is about to stop."""
        self.drop()

    def drop(self) -> None:
        """End all streams; whoever may look on comes again."""
        for task in self._onlookers.values():
            task.cancel()

    async def _beat(self) -> None:
        while True:
            await asyncio.sleep(BEAT_S)
            if self._onlookers:
                self.tell("figures", self._figures())

    async def _pass_on(self) -> None:
        while True:
            text = await self._news.get()
            for number, queue in enumerate(list(self._onlookers), 1):
                self._hand(queue, text)
                if number % TOGETHER == 0:
                    await asyncio.sleep(0)

    def _hand(self, queue: asyncio.Queue[bytes], text: bytes) -> None:
        try:
            queue.put_nowait(text)
        except asyncio.QueueFull:
            if (task := self._onlookers.pop(queue, None)) is not None:
                task.cancel()

    async def _send(self, request: web.Request, response: web.StreamResponse, queue: asyncio.Queue[bytes]) -> None:
        with suppress(ConnectionError):
            await response.prepare(request)
            while True:
                await response.write(await queue.get())
