"""The speed far end: a source and a sink of bytes over HTTP, for holders of a token.

    GET /down?bytes=N   N bytes; without `bytes` as many as the limits allow, until the client closes
                        (`test=NAME` adds what TCP sends for it to a test)
    GET /sent?test=NAME what TCP sent for a test's downloads that have ended, as JSON; told once
    POST /up            takes Content-Length bytes, and tells how many came in how many seconds, as JSON
    GET /address        the address that the request came from, as text

Sources:     RFC 9110 (methods, status codes), RFC 9112 (format), RFC 6750 (bearer token).
Departures:  one request a connection; a request without the right token is told 401 and nothing else.

The source hands the kernel the same pages of random bytes again and again (sendfile); the sink reads into one buffer
that all connections share, since nobody looks at what is in it.
"""

import asyncio
import json
import os
import ssl
import time
from dataclasses import dataclass, field
from io import FileIO
from typing import Final, cast

from wanwatch.reflector._errors import CannotListenError
from wanwatch.reflector._limiter import Limiter
from wanwatch.reflector._listening import listen
from wanwatch.reflector._request import END, Head, parse_head
from wanwatch.reflector._sent import Sent, look
from wanwatch.reflector.stun import plain

PORT: Final = 9471
_BUFFER_BYTES: Final = 1 << 18
_SOURCE_BYTES: Final = 1 << 22
_MOST_HEAD_BYTES: Final = 8192
_HEAD_S: Final = 10.0
_LINGER_S: Final = 2.0
_MOST_STRANGERS: Final = 64
_MOST_TESTS: Final = 64
_NS_PER_S: Final = 1_000_000_000
_REASONS: Final = {
    200: "OK", 400: "Bad Request", 401: "Unauthorized", 404: "Not Found", 405: "Method Not Allowed",
    411: "Length Required", 413: "Content Too Large", 503: "Service Unavailable",
}  # fmt: skip
_METHODS: Final = {"/down": "GET", "/up": "POST", "/address": "GET", "/sent": "GET"}


@dataclass(frozen=True, slots=True)
class Limits:
    """What token holders may have.

    Attributes:
        bytes_each: Bytes of one request.
        seconds_each: Seconds that one request may take.
        at_once: Requests under way at one time.
    """

    bytes_each: int = 100_000_000_000
    seconds_each: float = 65.0
    at_once: int = 16


@dataclass(slots=True, eq=False)
class _Shared:
    """What all connections of a server share."""

    token: str
    limits: Limits
    source: FileIO
    buffer: memoryview = field(default_factory=lambda: memoryview(bytearray(_BUFFER_BYTES)))
    limiter: Limiter = field(default_factory=lambda: Limiter(20.0, 100))
    strangers: dict["_Connection", None] = field(default_factory=dict)  # those that have not shown a token yet
    working: set["_Connection"] = field(default_factory=set)
    sent: dict[str, Sent] = field(default_factory=dict)  # by test, the oldest first

    def add(self, test: str, sent: Sent) -> None:
        """Add what one connection sent to its test; of too many tests the oldest is forgotten."""
        self.sent[test] = self.sent.get(test, Sent()).plus(sent)
        if len(self.sent) > _MOST_TESTS:
            del self.sent[next(iter(self.sent))]


class SpeedServer:
    """Listens from `start` until `close`.

    Args:
        token: What clients have to show.
        limits: What they may have.

    Attributes:
        port: The port that it listens on, once started.
    """

    port: int

    def __init__(self, token: str, limits: Limits = Limits()) -> None:
        self._shared = _Shared(token, limits, _source())
        self._servers: list[asyncio.Server] = []

    async def start(self, address: str, port: int = PORT, tls: ssl.SSLContext | None = None) -> None:
        """Listen at *address* (`::` for both families) and *port* (0 for any), with TLS where a context is given.

        Raises:
            CannotListenError: It cannot listen there.
        """
        try:
            self._servers, self.port = await listen(lambda: _Connection(self._shared), address, port, tls)
        except CannotListenError:
            self.close()
            raise

    def close(self) -> None:
        """Stop listening and end what is under way."""
        for server in self._servers:
            server.close()
        for connection in [*self._shared.strangers, *self._shared.working]:
            connection.end()
        self._shared.source.close()


def _source() -> FileIO:
    """Return a file in memory whose bytes no link can compress."""
    made = os.fdopen(os.memfd_create("wanwatch-source"), "w+b", buffering=0)
    made.write(os.urandom(_SOURCE_BYTES))
    return made


class _Connection(asyncio.BufferedProtocol):
    """One connection: its head, then what it asked for."""

    def __init__(self, shared: _Shared) -> None:
        self._shared = shared
        self._head = b""
        self._answering = False
        self._wanted = self._left = 0  # of an upload
        self._began_ns = 0
        self._test: str | None = None
        self._sent = Sent()
        self._pouring: asyncio.Task[None] | None = None
        self._room = asyncio.Event()
        self._room.set()

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        # The class that asyncio uses is no subclass of the one that it documents.
        self._transport = cast("asyncio.Transport", transport)
        loop = asyncio.get_running_loop()
        self._timer = loop.call_later(_HEAD_S, self.end)
        self._peer = str(transport.get_extra_info("peername")[0])
        strangers = self._shared.strangers
        strangers[self] = None
        if not self._shared.limiter.allow(self._peer, time.monotonic_ns()):
            self.end()
        elif len(strangers) > _MOST_STRANGERS:
            next(iter(strangers)).end()

    def connection_lost(self, exc: Exception | None) -> None:
        del exc
        self._timer.cancel()
        self._look()
        if self._test is not None:
            self._shared.add(self._test, self._sent)
        self._shared.strangers.pop(self, None)
        self._shared.working.discard(self)
        if self._pouring is not None:
            self._pouring.cancel()

    def get_buffer(self, sizehint: int) -> memoryview:
        del sizehint
        return self._shared.buffer

    def buffer_updated(self, nbytes: int) -> None:
        if self._left:
            self._sink(nbytes)
        elif not self._answering:
            self._head += self._shared.buffer[:nbytes]
            head, end, rest = self._head.partition(END)
            if end:
                self._begin(parse_head(head), len(rest))
            elif len(self._head) > _MOST_HEAD_BYTES:
                self._say(401)

    def eof_received(self) -> bool:
        # A client that has said all it has to say may still wait for its answer; TLS has no such half-way.
        return self._pouring is not None and self._transport.can_write_eof()

    def pause_writing(self) -> None:
        self._room.clear()

    def resume_writing(self) -> None:
        self._room.set()

    def end(self) -> None:
        """Close at once, whatever is under way."""
        self._shared.strangers.pop(self, None)
        self._transport.abort()

    def _begin(self, head: Head | None, already_bytes: int) -> None:
        shared = self._shared
        if head is None or not head.shows(shared.token):
            self._say(401)
        elif head.path not in _METHODS:
            self._say(404)
        elif head.method != _METHODS[head.path]:
            self._say(405, fields=f"Allow: {_METHODS[head.path]}\r\n")
        elif head.path == "/address":
            self._say(200, plain(self._peer) + "\n")
        elif head.path == "/sent":
            told = shared.sent.pop(head.test or "", Sent())._asdict()
            self._say(200, json.dumps(told) + "\n", kind="application/json")
        elif len(shared.working) >= shared.limits.at_once:
            self._say(503, fields="Retry-After: 5\r\n")
        else:
            shared.strangers.pop(self, None)
            shared.working.add(self)
            self._timer.cancel()
            self._timer = asyncio.get_running_loop().call_later(shared.limits.seconds_each, self.end)
            (self._down if head.path == "/down" else self._up)(head, already_bytes)

    def _down(self, head: Head, already_bytes: int) -> None:
        del already_bytes
        most = self._shared.limits.bytes_each
        size = most if head.size_bytes is None else head.size_bytes
        if not 0 <= size <= most:
            self._say(400 if size < 0 else 413)
            return
        self._answering = True
        self._test = head.test
        length = "" if head.size_bytes is None else f"Content-Length: {size}\r\n"
        self._transport.write(_head(200, f"Content-Type: application/octet-stream\r\n{length}"))
        self._pouring = asyncio.get_running_loop().create_task(self._pour(size))

    async def _pour(self, left: int) -> None:
        send = self._send_encrypted if self._transport.get_extra_info("sslcontext") else self._send_plain
        try:
            while left:
                left -= await send(min(left, _SOURCE_BYTES))
                self._look()  # through TLS the socket has gone when we hear that the connection has
        except (OSError, RuntimeError):  # the client has gone; asyncio says so in either way
            self._transport.abort()
        else:
            self._transport.close()

    def _look(self) -> None:
        """Note what TCP has sent so far; a socket that has gone leaves the last note."""
        if self._test is not None:
            self._sent = look(self._transport.get_extra_info("socket")) or self._sent

    async def _send_plain(self, size: int) -> int:
        return await asyncio.get_running_loop().sendfile(self._transport, self._shared.source, 0, size)

    async def _send_encrypted(self, size: int) -> int:
        size = min(size, _BUFFER_BYTES)
        self._transport.write(os.pread(self._shared.source.fileno(), size, 0))
        await asyncio.sleep(0)  # the other connections' turn, and the moment in which this one may be told to wait
        await self._room.wait()
        return size

    def _up(self, head: Head, already_bytes: int) -> None:
        if head.length_bytes is None:
            self._say(411)
        elif head.length_bytes > self._shared.limits.bytes_each:
            self._say(413)
        else:
            self._wanted = self._left = head.length_bytes
            self._began_ns = time.monotonic_ns()
            if head.expects and not already_bytes:
                self._transport.write(b"HTTP/1.1 100 Continue\r\n\r\n")
            self._sink(already_bytes)

    def _sink(self, nbytes: int) -> None:
        self._left -= min(nbytes, self._left)
        if not self._left:
            seconds = (time.monotonic_ns() - self._began_ns) / _NS_PER_S
            self._say(200, json.dumps({"bytes": self._wanted, "seconds": seconds}) + "\n", kind="application/json")

    def _say(self, status: int, text: str = "", *, fields: str = "", kind: str = "text/plain") -> None:
        self._answering = True
        self._left = 0
        if status == 401:  # noqa: PLR2004 - the code's name
            fields = "WWW-Authenticate: Bearer\r\n"
        described = f"Content-Type: {kind}; charset=utf-8\r\nContent-Length: {len(text)}\r\n{fields}"
        self._transport.write(_head(status, described) + text.encode())
        if not self._transport.can_write_eof():
            self._transport.close()
            return
        # Closing on a client that still sends would reset the connection, and might take the answer away from it.
        self._transport.write_eof()
        self._timer.cancel()
        self._timer = asyncio.get_running_loop().call_later(_LINGER_S, self.end)


def _head(status: int, fields: str) -> bytes:
    return (
        f"HTTP/1.1 {status} {_REASONS[status]}\r\nConnection: close\r\nCache-Control: no-store\r\n{fields}\r\n".encode()
    )
