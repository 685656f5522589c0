"""TCP connect and HTTP(S) GET, timed, over pinned sockets.

Sources:     RFC 9110 and RFC 9112 (HTTP/1.1); RFC 8305 (both families, see `stream`); RFC 6585 section 6 (511);
             RFC 6750 section 2.1 (bearer token).
Departures:  RFC 8305 section 3 begins to connect as soon as one family's addresses are known; here the answers for
             both are awaited, within the waiting time of the resolver.

Facts of a fetch: dns_ns, first_byte_ns (each the time of that step alone, as far as it came), those of `stream`,
status, family (4 or 6: which version of IP answered) and families (those that the name has an address of); where one
status is expected, location and via (the server's words, shortened) where it says them. The round-trip time is the
whole time to the first octet of the answer, or to its last header where one status is expected. The body is not read:
it would cost a metered line, and says nothing about promptness. A question for the public address is another matter:
the body is the address (fact: address), the round trip ends with it, and anything else there is malformed.
"""

import asyncio
import errno
import re
import socket
from ipaddress import ip_address
from typing import Final
from urllib.parse import SplitResult, urlsplit

from wanwatch.core.model import NS_PER_S, Cause, Outcome, Question, Role
from wanwatch.measure.attempt import Attempt, Finding
from wanwatch.measure.resolvers import Way, look_up
from wanwatch.measure.sockets import families
from wanwatch.measure.stream import MOST_LINE_BYTES, Tls, connected, send, talking

_STATUS_LINE: Final = re.compile(rb"HTTP/1\.[01] ([1-9][0-9]{2})[ \r\n]")
_WORST_GOOD_STATUS: Final = 399
_NETWORK_AUTHENTICATION_REQUIRED: Final = 511
_TELLING: Final = ("location", "via")
_MOST_FACT_CHARACTERS: Final = 200
_MOST_ADDRESS_BYTES: Final = 64
"""An IPv6 address with an IPv4 tail has 45 (RFC 4291 section 2.2)."""
_V6: Final = 6
_V4: Final = 4


async def tcp(attempt: Attempt) -> Finding:
    """Connect to the question's address and port: answered once the handshake is done."""
    question = attempt.question
    async with connected(question.pin, [question.address], question.port or 0):
        return Finding(Outcome.ANSWERED)


async def http(attempt: Attempt) -> Finding:
    """Get the question's URL: answered by the status that is expected, or else by any below 400."""
    url = urlsplit(attempt.question.address)
    at_ns = attempt.clock.now_ns()
    addresses = await _addresses_of(attempt, url)
    port = url.port or (443 if url.scheme == "https" else 80)
    connecting_ns = attempt.clock.now_ns()
    if addresses != [url.hostname]:
        attempt.facts["dns_ns"] = connecting_ns - at_ns
        attempt.facts["families"] = [ip_address(address).version for address in addresses]
    async with connected(attempt.question.pin, addresses, port) as sock:
        attempt.facts["connect_ns"] = attempt.clock.now_ns() - connecting_ns
        attempt.facts["family"] = _V6 if sock.family == socket.AF_INET6 else _V4
        return await _get(attempt, url, sock)


async def _addresses_of(attempt: Attempt, url: SplitResult) -> list[str]:
    question = attempt.question
    host = url.hostname or ""
    try:
        return [str(ip_address(host))]
    except ValueError:
        pass
    each_s = question.timeout_ns / NS_PER_S / (len(question.resolvers) + 1)
    # The facts of a resolver's own connection are not those of the fetch.
    ways = [Way(question.pin, resolver, attempt.clock, question.ca_file) for resolver in question.resolvers]
    wanted = families(question.pin) if question.family is None else [question.family]
    found = await look_up(ways, host, each_s, wanted)
    if not found:
        raise OSError(errno.EHOSTUNREACH, "the name does not resolve")
    return found


async def _get(attempt: Attempt, url: SplitResult, sock: socket.socket) -> Finding:
    tls = Tls(url.hostname or "", attempt.question.ca_file) if url.scheme == "https" else None
    async with talking(sock, attempt.clock, attempt.facts, tls) as (reader, writer):
        asking_ns = attempt.clock.now_ns()
        send(writer, _request(attempt.question, url))
        first = await reader.read(1)
        attempt.facts["first_byte_ns"] = attempt.clock.now_ns() - asking_ns
        status = _status(first + await _line(reader))
        if status is None:
            return Finding(Outcome.MALFORMED)
        attempt.facts["status"] = status
        length = await _note_headers(attempt, reader) if attempt.question.expect is not None else ""
        finding = _judge(status, attempt.question.expect)
        if attempt.question.series.role is Role.EGRESS and finding.outcome is Outcome.ANSWERED:
            return await _note_address(attempt, reader, length)
        return finding


async def _line(reader: asyncio.StreamReader) -> bytes:
    try:
        return await reader.readuntil(b"\n")
    except asyncio.IncompleteReadError as error:
        return error.partial
    except asyncio.LimitOverrunError:
        return b""


async def _note_headers(attempt: Attempt, reader: asyncio.StreamReader) -> str:
    """Note what the headers tell, and return what they say of the body's length."""
    left, length = MOST_LINE_BYTES, ""
    while left > 0 and (line := await _line(reader)).strip():
        left -= len(line)
        name, _, value = line.decode("latin-1").partition(":")
        if name.lower() in _TELLING:
            attempt.facts[name.lower()] = value.strip()[:_MOST_FACT_CHARACTERS]
        elif name.lower() == "content-length":
            length = value.strip()
    return length


async def _note_address(attempt: Attempt, reader: asyncio.StreamReader, length: str) -> Finding:
    try:
        await reader.readexactly(_MOST_ADDRESS_BYTES + 1)
        return Finding(Outcome.MALFORMED)
    except asyncio.IncompleteReadError as error:
        said = error.partial
    try:
        found = str(ip_address(said.decode("ascii").strip()))
    except ValueError:
        return Finding(Outcome.MALFORMED)
    if "%" in found or (length and length != str(len(said))):  # of one network only; or cut short
        return Finding(Outcome.MALFORMED)
    attempt.facts["address"] = found
    return Finding(Outcome.ANSWERED)


def _request(question: Question, url: SplitResult) -> bytes:
    # To HTTP/1.0 nobody may answer in chunks (RFC 9112 section 7.1), so that the body needs no decoding.
    spoken = "HTTP/1.0" if question.series.role is Role.EGRESS else "HTTP/1.1"
    path = (url.path or "/") + (f"?{url.query}" if url.query else "")
    host = url.netloc.rpartition("@")[2]
    lines = [f"GET {path} {spoken}", f"Host: {host}", "User-Agent: wanwatch", "Accept: */*", "Connection: close"]
    if question.token is not None:
        lines.append(f"Authorization: Bearer {question.token}")
    return "".join(f"{line}\r\n" for line in (*lines, "")).encode()


def _status(line: bytes) -> int | None:
    match = _STATUS_LINE.match(line)
    return int(match[1]) if match else None


def _judge(status: int, expected: int | None) -> Finding:
    if status == expected:
        return Finding(Outcome.ANSWERED)
    if status == _NETWORK_AUTHENTICATION_REQUIRED:
        return Finding(Outcome.REFUSED, Cause.PORTAL)
    if status > _WORST_GOOD_STATUS:
        return Finding(Outcome.REFUSED, Cause.HTTP_STATUS)
    # Another answer than the one that belongs there: somebody on the way answered in the far end's place.
    return Finding(Outcome.ANSWERED) if expected is None else Finding(Outcome.REFUSED, Cause.PORTAL)
