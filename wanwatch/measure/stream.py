"""Connections over pinned sockets: TCP by one address or by the first that answers, and TLS over them.

Sources:     RFC 8305 sections 4 and 5 (IPv6 first, the other family 250 ms later); RFC 8446 (TLS); RFC 6125 (whom a
             certificate speaks for).
Departures:  RFC 8305 tries every address of a name; here each family has one, so that a probe makes two connections
             at most.

Facts told: connect_ns and tls_ns, the time of that step alone; cert_days_left, and cert_expires_unix_s, when the far
end's certificate ends (seconds since 1970); tls, what went wrong where the handshake failed.
"""

import asyncio
import errno
import socket
import ssl
from collections.abc import AsyncIterator, Callable, MutableMapping, Sequence
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass
from typing import Final, TypeAlias

from wanwatch import trust
from wanwatch.core.model import Json, Pin
from wanwatch.core.ports import Clock
from wanwatch.measure.sockets import Sender, open_pinned, resolve

Facts: TypeAlias = MutableMapping[str, Json]
Streams: TypeAlias = tuple[asyncio.StreamReader, asyncio.StreamWriter]

ATTEMPT_DELAY_S: Final = 0.25
"""RFC 8305 section 5: the Connection Attempt Delay."""
MOST_LINE_BYTES: Final = 65_536
_DAY_S: Final = 86_400
_NS_PER_S: Final = 1_000_000_000


class CannotSendError(Exception):
    """The socket could not be made or could not send; the OSError is its cause."""

    def __init__(self, error: OSError) -> None:
        super().__init__(str(error))
        self.error = error


@dataclass(frozen=True, slots=True)
class Tls:
    """What TLS needs to know.

    Attributes:
        name: The name or address that the certificate must show.
        ca_file: Certificate authorities (PEM) that are trusted beside the system's own.
        protocols: What may be spoken within (RFC 7301); empty: nothing is said of it.
    """

    name: str
    ca_file: str | None = None
    protocols: tuple[str, ...] = ()


@asynccontextmanager
async def connected(pin: Pin, addresses: Sequence[str], port: int) -> AsyncIterator[socket.socket]:
    """Connect to the first of *addresses* that answers; each later one is given a head start of 250 ms to beat.

    Raises:
        CannotSendError: None could be tried.
        OSError: What the far end, or somebody on the way, answered.
    """
    with await _first(pin, addresses, port) as sock:
        yield sock


async def _first(pin: Pin, addresses: Sequence[str], port: int) -> socket.socket:
    queue = list(addresses)
    pending: set[asyncio.Task[socket.socket]] = set()
    failed: list[BaseException] = []
    try:
        while queue or pending:
            if queue:
                pending.add(asyncio.create_task(connect(pin, queue.pop(0), port)))
            delay_s = ATTEMPT_DELAY_S if queue else None
            done, pending = await asyncio.wait(pending, timeout=delay_s, return_when=asyncio.FIRST_COMPLETED)
            won = [task.result() for task in done if task.exception() is None]
            failed += [error for task in done if (error := task.exception()) is not None]
            if won:
                _close(won[1:])
                return won[0]
    finally:
        for task in pending:
            task.cancel()
        late = await asyncio.gather(*pending, return_exceptions=True)
        _close([found for found in late if isinstance(found, socket.socket)])
    # What came over the line says more than what our own side could not do.
    raise next((error for error in failed if not isinstance(error, CannotSendError)), failed[0])


def _close(sockets: Sequence[socket.socket]) -> None:
    for sock in sockets:
        sock.close()


async def connect(pin: Pin, address: str, port: int) -> socket.socket:
    """Return a socket that is connected to an address, the caller's to close. Raises as `connected`."""
    try:
        family, to = resolve(address, port)
        sock = open_pinned(pin, family, socket.SOCK_STREAM)
        # What follows the handshake's last words must not wait for their acknowledgement, which far ends may delay by
        # 40 ms: that would be a time of ours, not of the line's. asyncio sees to it only where a protocol is named.
        sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    except OSError as error:
        raise CannotSendError(error) from error
    try:
        if _begin(sock, to):
            await asyncio.get_running_loop().sock_connect(sock, to)
    except BaseException:
        sock.close()
        raise
    return sock


def _begin(sock: socket.socket, to: Sender) -> bool:
    """Start to connect; tell whether it has to be waited for."""
    # The first connect shows errors of our own side; what comes later came over the line.
    code = sock.connect_ex(to)
    if code not in (0, errno.EINPROGRESS):
        failed = OSError(code, "connect")
        # On loopback the far end itself may refuse at once.
        raise failed if code == errno.ECONNREFUSED else CannotSendError(failed)
    return bool(code)


@asynccontextmanager
async def talking(sock: socket.socket, clock: Clock, facts: Facts, tls: Tls | None = None) -> AsyncIterator[Streams]:
    """Give reader and writer of a connected *sock*, through TLS if asked for; closed without ceremony in the end.

    Raises:
        CannotSendError: The file of authorities cannot be read.
        ssl.SSLError: The handshake failed; the fact `tls` says why.
    """
    context = await tls_context(tls) if tls else None
    at_ns = clock.now_ns()
    name = tls.name if tls else None
    try:
        reader, writer = await asyncio.open_connection(
            sock=sock.dup(), ssl=context, server_hostname=name, limit=MOST_LINE_BYTES
        )
    except ssl.SSLError as error:
        facts["tls"] = getattr(error, "verify_message", None) or error.reason or "no handshake"
        raise
    try:
        if tls:
            facts["tls_ns"] = clock.now_ns() - at_ns
            _note_certificate(writer, clock.now_unix_ns, facts)
        yield reader, writer
    finally:
        writer.transport.abort()


def send(writer: asyncio.StreamWriter, data: bytes) -> None:
    """Send *data*, and acknowledge at once what comes back.

    A far end with Nagle's algorithm holds its answer until we acknowledge its session tickets, and our own kernel would
    take 40 ms over that: a time of ours, not of the line's (tcp(7): TCP_QUICKACK does not last).
    """
    writer.write(data)
    sock = writer.get_extra_info("socket")
    with suppress(OSError):  # it may be closed already, which the reader will tell
        sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_QUICKACK, 1)


def _note_certificate(writer: asyncio.StreamWriter, now_unix_ns: Callable[[], int], facts: Facts) -> None:
    certificate = writer.get_extra_info("peercert") or {}
    with suppress(KeyError, ValueError):  # a date that is written otherwise than RFC 5280 says
        expires_s = ssl.cert_time_to_seconds(certificate["notAfter"])
        facts["cert_expires_unix_s"] = expires_s
        facts["cert_days_left"] = (expires_s - now_unix_ns() // _NS_PER_S) // _DAY_S


async def tls_context(tls: Tls) -> ssl.SSLContext:
    """Return the context of *tls*, kept from one use to the next.

    Raises:
        CannotSendError: The file of authorities cannot be read.
    """
    try:
        return await trust.tls_context(tls.ca_file, tls.protocols)
    except OSError as error:  # ssl.SSLError is one: no certificates in it
        raise CannotSendError(OSError(error.errno, str(error))) from error
