"""Patience: how many may come in at once, and for how long they may keep us waiting.

Each connection costs an open file, and probes need some as well; what is written and not taken costs memory. So there
is an end to both, and to waiting for a request that does not come. What these numbers bound is told beside each.

Source:   RFC 9112 section 9.5 (a server may close what is slow or idle); getrlimit(2). The numbers are ours.
"""

import asyncio
import logging
import resource
import socket
import ssl
from collections.abc import Awaitable, Callable
from functools import partial
from typing import Any, Final

from aiohttp import web
from aiohttp.http_exceptions import HttpProcessingError

MOST: Final = 1200
"""Connections at once: two for each onlooker whose page is read anew, and some for programs."""
IN_ONE_GO: Final = 32
"""So many connections are taken up before whatever else is due has its turn; as many more wait to be taken up."""
ASKS_WITHIN_S: Final = 40.0
"""A request's head has to be there so long after the connection, or after the last answer on it. Not 30 s, nor 60: who
scrapes that often would ask just when the connection is closed."""
TAKES_WITHIN_S: Final = 30.0
"""An answer has to be taken within this time: what a system keeps for a connection, and the rest at 50 kB/s."""
GREETS_WITHIN_S: Final = 10.0
"""Where TLS is spoken, so long after the connection its handshake has to be over."""
LINGERS_S: Final = 0.5
"""For so long what is still sent after a refusal is read and thrown away, so that the refusal can be read."""

_Handler = Callable[[web.Request], Awaitable[web.StreamResponse]]


class Runner(web.AppRunner):
    """Runs an application, and lets nobody in beyond `MOST`, nor beyond half of the files that this process may open.

    Args:
        app: The application.
        asks_within_s: As `ASKS_WITHIN_S`.
        tls: If given, only TLS is spoken, but by a socket of this machine's own.
    """

    def __init__(
        self, app: web.Application, asks_within_s: float = ASKS_WITHIN_S, *, tls: ssl.SSLContext | None = None
    ) -> None:
        super().__init__(
            app, access_log=None, shutdown_timeout=0.5, lingering_time=LINGERS_S, keepalive_timeout=asks_within_s,
            logger=_log(),
        )  # fmt: skip
        self._most = min(MOST, resource.getrlimit(resource.RLIMIT_NOFILE)[0] // 2)
        self._tls = tls
        self._greeting: set[asyncio.Task[None]] = set()

    @property
    def server(self) -> Any:
        """What makes a protocol for each connection, as sites ask for it."""
        made = super().server
        return None if made is None else partial(_Arrival, self._let_in, made)

    async def cleanup(self) -> None:
        """Stop, and shake hands with nobody any more."""
        for task in self._greeting:
            task.cancel()
        await super().cleanup()

    def _let_in(self, made: web.Server, arrival: "_Arrival", transport: asyncio.Transport) -> None:
        near = transport.get_extra_info("socket").family == socket.AF_UNIX
        if not near and len(made.connections) + len(self._greeting) >= self._most:
            transport.abort()  # a word of refusal would cost what there is too little of
        elif near or self._tls is None:
            arrival.begin(transport)
        else:
            transport.pause_reading()
            task = asyncio.create_task(arrival.greet(transport, self._tls))
            self._greeting.add(task)
            task.add_done_callback(self._greeting.discard)


class _Arrival(asyncio.Protocol):
    """Somebody who has just come, until there is a protocol to talk to.

    The library would count a connection after its handshake only, and wait a minute for that: a thousand of them would
    leave probes no file to open.

    Args:
        let_in: Says whether there is room, and goes on with this arrival.
        made: Makes the protocol.
    """

    def __init__(self, let_in: Callable[[web.Server, "_Arrival", asyncio.Transport], None], made: web.Server) -> None:
        self._let_in, self._made = let_in, made
        self._early = bytearray()

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)  # noqa: S101 - a stream's always is
        self._let_in(self._made, self, transport)

    def data_received(self, data: bytes) -> None:
        """Keep what came together with the end of the handshake."""
        self._early += data

    async def greet(self, transport: asyncio.Transport, tls: ssl.SSLContext) -> None:
        """Shake hands, and begin; whoever does not come to an end with it is hung up on."""
        loop = asyncio.get_running_loop()
        try:
            greeted = await loop.start_tls(
                transport, self, tls, server_side=True, ssl_handshake_timeout=GREETS_WITHIN_S
            )
        except OSError:  # ssl.SSLError and what tells of a timeout are such
            transport.abort()
            return
        if isinstance(greeted, asyncio.Transport) and not greeted.is_closing():
            self.begin(greeted)

    def begin(self, transport: asyncio.Transport) -> None:
        """Hand over to the protocol."""
        protocol = self._made()
        transport.set_protocol(protocol)
        protocol.connection_made(transport)
        if self._early:
            protocol.data_received(bytes(self._early))


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
