"""Resolvers asked over pinned sockets, by each transport.

Sources:     RFC 1035 section 4.2 (the length prefix of TCP, TC); RFC 7858 section 3 (TLS); RFC 8310 section 8 (the
             strict profile: nothing is asked of a server that cannot prove its name); RFC 8484 (HTTPS, see `doh`).
Departures:  each question has a connection of its own, as its port over UDP: what is measured is whether a new one
             can be had.

Facts told: rcode (its name), and where a connection is made those of `stream`; status (HTTP) where it is no answer.
"""

import asyncio
import contextlib
import socket
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from ipaddress import ip_address
from typing import Final, TypeAlias

import dns.flags
import dns.message

from wanwatch.core.model import Cause, Outcome, Pin
from wanwatch.core.ports import Clock
from wanwatch.core.resolver import Resolver, Transport
from wanwatch.measure import doh, names
from wanwatch.measure.attempt import Attempt, Finding
from wanwatch.measure.sockets import open_pinned, resolve
from wanwatch.measure.stream import CannotSendError, Facts, Tls, connected, send, talking

_PACKET_BYTES: Final = 4096
_HTTPS_PORT: Final = 443
_GOOD: Final = range(200, 300)

Answer: TypeAlias = dns.message.Message | Finding
"""A message, or what came instead of one."""


@dataclass(frozen=True, slots=True)
class Way:
    """How a resolver is reached.

    Attributes:
        pin: What the sockets are pinned by.
        resolver: The resolver.
        clock: Where time comes from.
        ca_file: Certificate authorities (PEM) that are trusted beside the system's own.
        facts: Where what is learnt on the way is noted.
    """

    pin: Pin
    resolver: Resolver
    clock: Clock
    ca_file: str | None = None
    facts: Facts = field(default_factory=dict)


async def probe(attempt: Attempt) -> Finding:
    """Ask the question's resolver over a connection; what answers another question counts as no answer."""
    question = attempt.question
    query = names.question(question.ask or ".")
    resolver = question.resolver or Resolver(question.address, question.port or names.PORT)
    reply = await ask(Way(question.pin, resolver, attempt.clock, question.ca_file, attempt.facts), query)
    if isinstance(reply, Finding):
        return reply
    reading = names.reading(query, reply)
    if reading is None or reading.outcome is None:
        return await attempt.silence()
    attempt.facts.update(reading.facts or {})
    return Finding(reading.outcome, reading.cause)


async def ask(way: Way, query: dns.message.QueryMessage) -> Answer:
    """Ask once. Cancel to bound.

    Raises:
        CannotSendError: It could not be asked.
        OSError: There is no connection, or it broke.
    """
    match way.resolver.transport:
        case Transport.UDP:
            reply = await _over_udp(way, query)
            return await over_tcp(way, query) if reply.flags & dns.flags.TC else reply
        case Transport.TCP | Transport.TLS:
            return await over_tcp(way, query)
        case Transport.HTTPS:
            return await _over_https(way, query)


async def _over_udp(way: Way, query: dns.message.Message) -> dns.message.Message:
    """What does not answer *query* is ignored."""
    loop = asyncio.get_running_loop()
    with _own_side():
        family, to = resolve(way.resolver.address, way.resolver.port)
        sock = open_pinned(way.pin, family, socket.SOCK_DGRAM)
    with sock:
        with _own_side():
            sock.connect(to)
        await loop.sock_sendall(sock, query.to_wire())
        while True:
            reply = names.parsed(await loop.sock_recv(sock, _PACKET_BYTES))
            if reply is not None and query.is_response(reply):
                return reply


@contextlib.contextmanager
def _own_side() -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise CannotSendError(error) from error


async def over_tcp(way: Way, query: dns.message.Message) -> Answer:
    """Ask over a connection, through TLS where the resolver is asked so. Raises as `ask`."""
    tls = _tls(way) if way.resolver.transport is Transport.TLS else None
    at_ns = way.clock.now_ns()
    async with connected(way.pin, [way.resolver.address], way.resolver.port) as sock:
        way.facts["connect_ns"] = way.clock.now_ns() - at_ns
        async with talking(sock, way.clock, way.facts, tls) as (reader, writer):
            wire = query.to_wire()
            send(writer, len(wire).to_bytes(2, "big") + wire)
            try:
                length = int.from_bytes(await reader.readexactly(2), "big")
                return _message(await reader.readexactly(length))
            except asyncio.IncompleteReadError as error:
                raise ConnectionResetError from error


async def _over_https(way: Way, query: dns.message.QueryMessage) -> Answer:
    resolver = way.resolver
    tls = _tls(way, doh.PROTOCOL)
    at_ns = way.clock.now_ns()
    async with connected(way.pin, [resolver.address], resolver.port) as sock:
        way.facts["connect_ns"] = way.clock.now_ns() - at_ns
        async with talking(sock, way.clock, way.facts, tls) as streams:
            if streams[1].get_extra_info("ssl_object").selected_alpn_protocol() != doh.PROTOCOL:
                way.facts["tls"] = "the far end speaks no HTTP/2"
                return Finding(Outcome.REFUSED, Cause.TLS)
            query.id = 0  # RFC 8484 section 4.1
            try:
                said = await doh.post(streams, _authority(resolver), resolver.path, query.to_wire())
            except doh.NoHttp2Error:
                return Finding(Outcome.MALFORMED)
    if said.status not in _GOOD:
        way.facts["status"] = said.status
        return Finding(Outcome.REFUSED, Cause.HTTP_STATUS)
    return _message(bytes(said.body)) if said.media_type == doh.MEDIA_TYPE else Finding(Outcome.MALFORMED)


def _tls(way: Way, *protocols: str) -> Tls:
    return Tls(way.resolver.name or way.resolver.address, way.ca_file, protocols)


def _authority(resolver: Resolver) -> str:
    host = resolver.name or resolver.address
    host = f"[{host}]" if ":" in host else host
    return host if resolver.port == _HTTPS_PORT else f"{host}:{resolver.port}"


def _message(wire: bytes) -> Answer:
    return names.parsed(wire) or Finding(Outcome.MALFORMED)


async def look_up(
    ways: Sequence[Way],
    name: str,
    each_s: float,
    families: Sequence[int] = (6, 4),
    asks: Callable[[Way], None] = lambda _: None,
) -> list[str]:
    """Return addresses of *name* in the order in which to try them: one of each family that it has.

    Args:
        ways: The resolvers, asked in turn until one knows an address.
        name: A host name.
        each_s: Seconds to wait for each resolver.
        families: Which versions of IP are wanted, the first one first.
        asks: Called with each resolver before it is asked, once for all families.
    """
    for way in ways:
        asks(way)
        found = await asyncio.gather(*(_addresses(way, name, family, each_s) for family in families))
        first = [addresses[0] for addresses in found if addresses]
        if first:
            return first
    return []


async def _addresses(way: Way, name: str, family: int, each_s: float) -> list[str]:
    query = names.question(name, "AAAA" if ip_address("::").version == family else "A")
    try:
        async with asyncio.timeout(each_s):
            reply = await ask(way, query)
    except (OSError, TimeoutError, CannotSendError):
        return []
    if isinstance(reply, Finding) or not query.is_response(reply):
        return []
    return names.addresses(query, reply)
