"""Patience: how many may come in at once, and for how long they may keep us waiting.

Each connection costs an open file, and probes need some as well; what is written and not taken costs memory. So there
is an end to both, and to waiting for a request that does not come. What these numbers bound is told beside each.

Source:   RFC 9112 section 9.5 (a server may close what is slow or idle); getrlimit(2). The numbers are ours.
"""

import asyncio
import logging
import resource
from collections.abc import Awaitable, Callable
from functools import partial
from typing import Any, Final

from aiohttp import web
from aiohttp.http_exceptions import HttpProcessingError

MOST: Final = 1200
"""Connections at once: two for each onlooker whose page is read anew, and some for programs."""
IN_ONE_GO: Final = 32
"""So many connections are taken up before whatever else is due has its turn; as many more wait to be taken up."""
ASKS_WITHIN_S: Final = 30.0
"""A request's head has to be there so long after the connection, or after the last answer on it."""
TAKES_WITHIN_S: Final = 30.0
"""An answer has to be taken within this time: what a system keeps for a connection, and the rest at 50 kB/s."""
LINGERS_S: Final = 0.5
"""For so long what is still sent after a refusal is read and thrown away, so that the refusal can be read."""

_Handler = Callable[[web.Request], Awaitable[web.StreamResponse]]


class Runner(web.AppRunner):
    """Runs an application, and lets nobody in beyond `MOST`, nor beyond half of the files that this process may open.

    Args:
        app: The application.
        asks_within_s: As `ASKS_WITHIN_S`.
    """

    def __init__(self, app: web.Application, asks_within_s: float = ASKS_WITHIN_S) -> None:
        super().__init__(
            app, access_log=None, shutdown_timeout=0.5, lingering_time=LINGERS_S, keepalive_timeout=asks_within_s,
            logger=_log(),
        )  # fmt: skip
        self._most = min(MOST, resource.getrlimit(resource.RLIMIT_NOFILE)[0] // 2)

    @property
    def server(self) -> Any:
        """What makes a protocol for each connection, as sites ask for it."""
        made = super().server
        return None if made is None else partial(self._let_in, made)

    def _let_in(self, made: web.Server) -> asyncio.Protocol:
        return made() if len(made.connections) < self._most else _TurnedAway()


class _TurnedAway(asyncio.Protocol):
    """Nobody to talk to: a word of refusal would cost what there is too little of."""

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)  # noqa: S101 - a stream's always is
        transport.abort()


class Patience:
    """Begins requests one by one, and hangs up on whoever does not take the answer."""

    def __init__(self) -> None:
        self._turn = asyncio.Lock()

    @web.middleware
    async def handle(self, request: web.Request, handler: _Handler) -> web.StreamResponse:
        """Hand an answer over within `TAKES_WITHIN_S`, or hang up; a stream of events sees to that by itself."""
        async with self._turn:
            # However many ask at once, what is due besides, such as a probe, waits for one of them at most.
            await asyncio.sleep(0)
        response = await handler(request)
        if response.prepared:
            return response
        try:
            async with asyncio.timeout(TAKES_WITHIN_S):
                await response.prepare(request)
                await response.write_eof()
        except TimeoutError:
            if request.transport is not None:
                request.transport.abort()
        return response


def _log() -> logging.Logger:
    log = logging.getLogger("wanwatch.web")
    log.addFilter(_is_ours)  # a filter that is there already is not added again
    return log


def _is_ours(record: logging.LogRecord) -> bool:
    """Whether a fault is our own: what strangers send that is no HTTP is not worth a page in the log each time."""
    fault = record.exc_info[1] if record.exc_info else None
    return not isinstance(fault, HttpProcessingError)
