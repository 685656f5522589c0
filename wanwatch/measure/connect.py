"""TCP connect and HTTP(S) GET, timed, over pinned sockets.

Facts of a fetch: dns_ns, connect_ns, tls_ns, first_byte_ns (each the time of that step alone, as far as it came) and
status. Its round-trip time is the whole time to the first octet of the answer. The body is not read: it would cost a
metered line, and says nothing about promptness.
"""

import asyncio
import errno
import re
import socket
import ssl
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from functools import cache
from ipaddress import ip_address
from typing import Final, NamedTuple
from urllib.parse import SplitResult, urlsplit

from wanwatch.core.model import NS_PER_S, Cause, Json, Outcome, Pin, Question, Sample
from wanwatch.measure.lane import Ground
from wanwatch.measure.names import look_up
from wanwatch.measure.sockets import not_sent_cause, open_pinned, resolve

_STATUS_LINE: Final = re.compile(rb"HTTP/1\.[01] ([1-9][0-9]{2})[ \r\n]")
_MOST_LINE_BYTES: Final = 65_536
_WORST_GOOD_STATUS: Final = 399
_REFUSALS: Final = {
    errno.ECONNREFUSED: Cause.RESET,
    errno.ECONNRESET: Cause.RESET,
    errno.EPIPE: Cause.RESET,
    errno.ENETUNREACH: Cause.NET_UNREACHABLE,
    errno.EPROTO: Cause.PROHIBITED,
    errno.EACCES: Cause.PROHIBITED,
}


class CannotSendError(Exception):
    """The socket could not be made or could not send; the OSError is its cause."""

    def __init__(self, error: OSError) -> None:
        super().__init__(str(error))
        self.error = error


class Finding(NamedTuple):
    """What came of a question, and why."""

    outcome: Outcome
    cause: Cause | None = None


@dataclass(slots=True)
class Attempt:
    """One question as it goes on.

    Attributes:
        question: What is asked.
        now_ns: The monotonic clock.
        facts: What has been learnt so far.
    """

    question: Question
    now_ns: Callable[[], int]
    facts: dict[str, Json] = field(default_factory=dict)


Probe = Callable[[Attempt], Awaitable[Finding]]


async def run(ground: Ground, question: Question, probe: Probe) -> None:
    """Ask *question* once with *probe* and tell the one sample that it gives, within its waiting time."""
    attempt = Attempt(question, ground.clock.now_ns)
    sent_ns, sent_unix_ns = ground.clock.now_ns(), ground.clock.now_unix_ns()
    finding = await _bounded(attempt, probe)
    known_ns = ground.clock.now_ns()
    if finding.outcome is Outcome.LOST:
        known_ns = sent_ns + question.timeout_ns
    timed = finding.outcome in (Outcome.ANSWERED, Outcome.REFUSED)
    rtt_ns = known_ns - sent_ns if timed else None
    said = (question.series, sent_ns, sent_unix_ns, known_ns, finding.outcome, rtt_ns, finding.cause)
    ground.tell(Sample(*said, facts=attempt.facts or None))


async def _bounded(attempt: Attempt, probe: Probe) -> Finding:
    question = attempt.question
    try:
        async with asyncio.timeout(question.timeout_ns / NS_PER_S):
            try:
                return await probe(attempt)
            except CannotSendError as error:
                return Finding(Outcome.NOT_SENT, not_sent_cause(error.error, question.pin))
            except ssl.SSLError:
                return Finding(Outcome.REFUSED, Cause.TLS)
            except OSError as error:
                cause = _REFUSALS.get(error.errno or 0)
                if cause is not None:
                    return Finding(Outcome.REFUSED, cause)
                # No host: our own kernel found no neighbour, or somebody says what silence says. Wait it out.
                await asyncio.Event().wait()
    except TimeoutError:
        pass
    return Finding(Outcome.LOST)


async def tcp(attempt: Attempt) -> Finding:
    """Connect to the question's address and port: answered once the handshake is done."""
    question = attempt.question
    async with _connected(question.pin, question.address, question.port or 0):
        return Finding(Outcome.ANSWERED)


async def http(attempt: Attempt) -> Finding:
    """Get the question's URL: answered by a status below 400."""
    url = urlsplit(attempt.question.address)
    at_ns = attempt.now_ns()
    address = await _address_of(attempt, url)
    port = url.port or (443 if url.scheme == "https" else 80)
    connecting_ns = attempt.now_ns()
    if address != url.hostname:
        attempt.facts["dns_ns"] = connecting_ns - at_ns
    async with _connected(attempt.question.pin, address, port) as sock:
        attempt.facts["connect_ns"] = attempt.now_ns() - connecting_ns
        return await _get(attempt, url, sock)


async def _address_of(attempt: Attempt, url: SplitResult) -> str:
    host = url.hostname or ""
    try:
        return str(ip_address(host))
    except ValueError:
        pass
    question = attempt.question
    each_s = question.timeout_ns / NS_PER_S / (len(question.resolvers) + 1)
    found = await look_up(question.pin, host, question.resolvers, each_s)
    if not found:
        raise OSError(errno.EHOSTUNREACH, "the name does not resolve")
    return found[0]


@asynccontextmanager
async def _connected(pin: Pin, address: str, port: int) -> AsyncIterator[socket.socket]:
    try:
        family, to = resolve(address, port)
        sock = open_pinned(pin, family, socket.SOCK_STREAM)
    except OSError as error:
        raise CannotSendError(error) from error
    with sock:
        # The first connect shows errors of our own side; what comes later came over the line.
        code = sock.connect_ex(to)
        if code not in (0, errno.EINPROGRESS):
            failed = OSError(code, "connect")
            # On loopback the far end itself may refuse at once.
            raise failed if code == errno.ECONNREFUSED else CannotSendError(failed)
        if code:
            await asyncio.get_running_loop().sock_connect(sock, to)
        yield sock


async def _get(attempt: Attempt, url: SplitResult, sock: socket.socket) -> Finding:
    context = await asyncio.to_thread(_tls_context) if url.scheme == "https" else None
    at_ns = attempt.now_ns()
    name = url.hostname if context else None
    reader, writer = await asyncio.open_connection(
        sock=sock.dup(), ssl=context, server_hostname=name, limit=_MOST_LINE_BYTES
    )
    try:
        asking_ns = attempt.now_ns()
        if context:
            attempt.facts["tls_ns"] = asking_ns - at_ns
        writer.write(_request(url))
        first = await reader.read(1)
        attempt.facts["first_byte_ns"] = attempt.now_ns() - asking_ns
        return _judge(attempt, first + await _rest_of_line(reader))
    finally:
        writer.transport.abort()


async def _rest_of_line(reader: asyncio.StreamReader) -> bytes:
    try:
        return await reader.readuntil(b"\n")
    except asyncio.IncompleteReadError as error:
        return error.partial
    except asyncio.LimitOverrunError:
        return b""


def _request(url: SplitResult) -> bytes:
    path = (url.path or "/") + (f"?{url.query}" if url.query else "")
    host = url.netloc.rpartition("@")[2]
    lines = (f"GET {path} HTTP/1.1", f"Host: {host}", "User-Agent: wanwatch", "Accept: */*", "Connection: close")
    return "".join(f"{line}\r\n" for line in (*lines, "")).encode()


def _judge(attempt: Attempt, line: bytes) -> Finding:
    match = _STATUS_LINE.match(line)
    if match is None:
        return Finding(Outcome.MALFORMED)
    status = int(match[1])
    attempt.facts["status"] = status
    if status > _WORST_GOOD_STATUS:
        return Finding(Outcome.REFUSED, Cause.HTTP_STATUS)
    return Finding(Outcome.ANSWERED)


@cache
def _tls_context() -> ssl.SSLContext:
    return ssl.create_default_context()
