"""The connections of a run: each asks for one body after the other, and what TCP knows of them is added up."""

import asyncio
import socket
import ssl
from collections.abc import Sequence
from dataclasses import astuple, dataclass, field
from typing import Final, Self

from wanwatch.core.account.speed_result import Direction, Ending
from wanwatch.core.wire import tcp_info
from wanwatch.core.wire.tcp_info import TcpInfo
from wanwatch.measure.sockets import not_sent_cause
from wanwatch.measure.speed.answer import Trouble
from wanwatch.measure.speed.talk import Load, Talk
from wanwatch.measure.stream import CannotSendError, Tls, connected, tls_context

PATIENCE_S: Final = 5.0
"""For a connection to be made, TLS included, and for a body to begin."""
_LEAST_TURN_S: Final = 0.1
"""A far end whose bodies are tiny is not asked more often than that by one connection."""
_RECORD: Final = 16_384
_RECORD_OVERHEAD: Final = {"TLSv1.3": 22, "TLSv1.2": 29}
"""RFC 8446 section 5.2 and RFC 5246 section 6.2.3.3 with RFC 5288: header, content type or nonce, and tag."""


@dataclass(frozen=True, slots=True)
class Totals:
    """What TCP has counted over all connections, those that have ended included; None where the kernel does not tell.

    Attributes are those of `TcpInfo`; held_s is time in which a window or a buffer held us up.
    """

    acked: int | None = 0
    sent: int | None = 0
    retransmitted: int | None = 0
    segments: int | None = 0
    out_of_order: int | None = 0
    busy_s: float | None = 0
    held_s: float | None = 0

    @classmethod
    def of(cls, info: TcpInfo) -> Self:
        """Take one connection's."""
        limits = (info.window_limited_s, info.buffer_limited_s)
        held_s = None if None in limits else sum(limit or 0.0 for limit in limits)
        return cls(
            info.acked, info.sent, info.retransmitted, info.segments_in, info.out_of_order, info.busy_s, held_s,
        )  # fmt: skip

    def plus(self, other: Self) -> Self:
        """Add *other*; what one of both does not tell nobody knows."""
        return self._joined(other, 1)

    def less(self, other: Self) -> Self:
        """Take *other* away, likewise."""
        return self._joined(other, -1)

    def _joined(self, other: Self, sign: int) -> Self:
        pairs = zip(astuple(self), astuple(other), strict=True)
        return type(self)(*(None if one is None or more is None else one + sign * more for one, more in pairs))


class _TroubleError(Exception):
    """A connection cannot go on."""

    def __init__(self, trouble: Trouble) -> None:
        super().__init__(trouble.why)
        self.trouble = trouble


@dataclass(slots=True)
class Lanes:
    """All connections of a run.

    Attributes:
        load: What they share.
        trouble: What went wrong, once something has.
        ip: Version of IP that they use, once one is made.
        own: Our address on them.
        payload: Share of the bytes on a connection that is payload: below one with TLS.
    """

    load: Load
    trouble: Trouble | None = None
    ip: int | None = None
    own: str | None = None
    payload: float = 1.0
    _context: ssl.SSLContext | None = None
    _addresses: Sequence[str] = ()
    _talks: list[Talk] = field(default_factory=list)
    _past: Totals = field(default_factory=Totals)

    async def run(self) -> None:
        """Keep all connections at work until one is in trouble; to be cancelled when the run is over."""
        tasks: list[asyncio.Task[None]] = []
        try:
            # The first one finds out which address answers; the others take the same.
            first = await self._first()
            tasks = [asyncio.create_task(self._lane(first))]
            tasks += [asyncio.create_task(self._lane()) for _ in range(self.load.job.connections - 1)]
            done, _ = await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
            await done.pop()
        except _TroubleError as error:
            self.trouble = error.trouble
        finally:
            for task in tasks:
                task.cancel()
            await asyncio.gather(*tasks, return_exceptions=True)

    def infos(self) -> list[TcpInfo]:
        """Return what TCP knows of each connection that lives."""
        return [info for talk in self._talks if (info := _info(talk)) is not None]

    def ahead(self) -> int:
        """Return the payload bytes that have got across and wait beyond a gap: to be called once a mark.

        Without them a loss would look like a pause, and its repair like a burst, wherever measuring begins or ends.
        """
        sending = self.load.job.direction is Direction.UP
        known = [(talk, info) for talk in self._talks if (info := _info(talk)) is not None]
        return int(sum(_selected(info) if sending else talk.beyond_gap(info) for talk, info in known) * self.payload)

    def totals(self) -> Totals:
        """Return what TCP has counted so far."""
        total = self._past
        for info in self.infos():
            total = total.plus(Totals.of(info))
        return total

    def body_ns(self) -> int:
        """Return for how long bodies have been under way, over all connections."""
        return self.load.body_ns + sum(talk.body_ns for talk in self._talks)

    async def _first(self) -> Talk:
        job = self.load.job
        self._addresses = job.addresses
        try:
            self._context = await tls_context(Tls(job.host, job.ca_file)) if job.tls else None
        except CannotSendError as error:
            raise _TroubleError(Trouble(Ending.OUR_SIDE, str(error))) from error
        return await self._open()

    async def _lane(self, talk: Talk | None = None) -> None:
        loop = asyncio.get_running_loop()
        while True:
            turn_s = loop.time() + _LEAST_TURN_S
            talk = talk or await self._open()
            try:
                trouble = await _ended(talk)
            finally:
                self._close(talk)
            if trouble is not None:
                raise _TroubleError(trouble)
            talk = None
            await asyncio.sleep(turn_s - loop.time())

    async def _open(self) -> Talk:
        try:
            async with asyncio.timeout(PATIENCE_S):
                return await self._connect()
        except CannotSendError as error:
            found = Trouble(Ending.NOT_SENT, not_sent_cause(error.error, self.load.job.pin).value)
        except ssl.SSLError as error:
            found = Trouble(Ending.TLS, getattr(error, "verify_message", None) or error.reason or "no handshake")
        except TimeoutError:
            found = Trouble(Ending.UNREACHABLE, f"no connection within {PATIENCE_S:g} s")
        except OSError as error:
            found = Trouble(Ending.UNREACHABLE, error.strerror or str(error))
        raise _TroubleError(found)

    async def _connect(self) -> Talk:
        job = self.load.job
        async with connected(job.pin, self._addresses, job.port) as sock:
            self._addresses = [sock.getpeername()[0]]
            self.own = sock.getsockname()[0]
            self.ip = 6 if sock.family == socket.AF_INET6 else 4
            name = job.host if job.tls else None
            _, talk = await asyncio.get_running_loop().create_connection(
                lambda: Talk(self.load), sock=sock.dup(), ssl=self._context, server_hostname=name
            )
        self._talks.append(talk)
        wrapped = talk.transport.get_extra_info("ssl_object") if talk.transport else None
        if wrapped is not None:
            overhead = _RECORD_OVERHEAD.get(wrapped.version(), _RECORD_OVERHEAD["TLSv1.2"])
            self.payload = _RECORD / (_RECORD + overhead)
        return talk

    def _close(self, talk: Talk) -> None:
        info = _info(talk)
        self._talks.remove(talk)
        if info is not None:
            self._past = self._past.plus(Totals.of(info))
        talk.stop()


async def _ended(talk: Talk) -> Trouble | None:
    """Wait for the end of the body; its beginning is waited for with patience, its end is the run's business."""
    try:
        async with asyncio.timeout(PATIENCE_S):
            await talk.begun
    except TimeoutError:
        return Trouble(Ending.STALLED, f"no answer within {PATIENCE_S:g} s")
    return await talk.over


def _selected(info: TcpInfo) -> int:
    return (info.selected or 0) * (info.mss or 0)


def _info(talk: Talk) -> TcpInfo | None:
    sock = talk.transport.get_extra_info("socket") if talk.transport else None
    try:
        return tcp_info.parse(sock.getsockopt(socket.IPPROTO_TCP, socket.TCP_INFO, tcp_info.SIZE)) if sock else None
    except OSError:
        return None
