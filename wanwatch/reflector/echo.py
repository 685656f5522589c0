"""The TCP Echo Protocol: what comes on a connection goes back on it, for connections that are held open for months.

Sources:     RFC 862 (TCP Based Echo Service).
Departures:  RFC 862 lets a caller go on for as long as it likes with as much as it likes. Here each address, in IPv6
             each /64, has its share of connections and of reads, and a connection that says nothing is ended in time.

Never more goes back than came. What a caller does not fetch is not read from it either, so that it waits in the
caller's own memory and not in ours.
"""

import asyncio
import time
from collections import Counter
from dataclasses import dataclass, field
from typing import Final, cast

from wanwatch.asker import account
from wanwatch.reflector._errors import CannotListenError
from wanwatch.reflector._limiter import Limiter
from wanwatch.reflector._listening import listen

PORT: Final = 7
"""RFC 862; the usual port, on which nothing is served unless it is asked for."""
_READ_BYTES: Final = 256
_MOST_WAITING_BYTES: Final = 1024


@dataclass(frozen=True, slots=True)
class EchoLimits:
    """What callers may have.

    Attributes:
        each: Connections of one address.
        at_once: Connections of all addresses together.
        reads_per_s: Reads a second, of at most 256 bytes, that one address may have.
        burst: Reads that it may have at once.
        idle_s: Seconds without a word after which a connection is ended. More than the 100 s for which a sender's
            TCP goes on trying (RFC 1122 section 4.2.3.5): it is for the line to break a connection, not for us.
    """

    each: int = 16
    at_once: int = 1024
    reads_per_s: float = 200.0
    burst: int = 400
    idle_s: float = 300.0


@dataclass(slots=True, eq=False)
class _Shared:
    """What all connections of a server share."""

    limits: EchoLimits
    limiter: Limiter
    buffer: memoryview = field(default_factory=lambda: memoryview(bytearray(_READ_BYTES)))
    open: dict["_Connection", None] = field(default_factory=dict)
    of: Counter[bytes] = field(default_factory=Counter)

    def has_room(self, whose: bytes) -> bool:
        return self.of[whose] < self.limits.each and len(self.open) < self.limits.at_once


class EchoServer:
    """Listens from `start` until `close`.

    Args:
        limits: What callers may have.

    Attributes:
        port: The port that it listens on, once started.
    """

    port: int

    def __init__(self, limits: EchoLimits = EchoLimits()) -> None:
        self._shared = _Shared(limits, Limiter(limits.reads_per_s, limits.burst))
        self._servers: list[asyncio.Server] = []

    async def start(self, address: str, port: int = PORT) -> None:
        """Listen at *address* (`::` for both families) and *port* (0 for any).

        Raises:
            CannotListenError: It cannot listen there.
        """
        try:
            self._servers, self.port = await listen(lambda: _Connection(self._shared), address, port)
        except CannotListenError:
            self.close()
            raise

    def close(self) -> None:
        """Stop listening and end what is open."""
        for server in self._servers:
            server.close()
        for connection in list(self._shared.open):
            connection.end()

    @property
    def connections(self) -> int:
        """How many are open."""
        return len(self._shared.open)


class _Connection(asyncio.BufferedProtocol):
    """One connection."""

    def __init__(self, shared: _Shared) -> None:
        self._shared = shared
        self._whose = b""
        self._timer: asyncio.TimerHandle | None = None
        self._heard_s = 0.0

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        # The class that asyncio uses is no subclass of the one that it documents.
        self._transport = cast("asyncio.Transport", transport)
        self._peer = str(transport.get_extra_info("peername")[0])
        whose = account(self._peer)
        if not self._shared.has_room(whose):
            self._transport.abort()
            return
        self._whose = whose
        self._shared.open[self] = None
        self._shared.of[whose] += 1
        self._transport.set_write_buffer_limits(high=_MOST_WAITING_BYTES)
        self._heard_s = asyncio.get_running_loop().time()
        self._watch()

    def connection_lost(self, exc: Exception | None) -> None:
        del exc
        if self._timer is not None:
            self._timer.cancel()
        if self in self._shared.open:
            del self._shared.open[self]
            self._shared.of[self._whose] -= 1
            self._shared.of += Counter()  # forgets whoever has none left

    def get_buffer(self, sizehint: int) -> memoryview:
        del sizehint
        return self._shared.buffer

    def buffer_updated(self, nbytes: int) -> None:
        if not self._shared.limiter.allow(self._peer, time.monotonic_ns()):
            self.end()
            return
        self._heard_s = asyncio.get_running_loop().time()
        self._transport.write(bytes(self._shared.buffer[:nbytes]))

    def pause_writing(self) -> None:
        self._transport.pause_reading()

    def resume_writing(self) -> None:
        self._transport.resume_reading()

    def end(self) -> None:
        """Close at once."""
        self._transport.abort()

    def _watch(self) -> None:
        """End it once it has been idle; one timer that looks again, and not one for each word."""
        loop = asyncio.get_running_loop()
        left_s = self._heard_s + self._shared.limits.idle_s - loop.time()
        if left_s <= 0:
            self.end()
        else:
            self._timer = loop.call_later(left_s, self._watch)
