"""Names: DNS messages over our own pinned sockets.

Sources: RFC 1035 sections 4.1 and 4.2 (messages, the length prefix of TCP); RFC 5452
section 9.1 (what an answer must match).
"""

import asyncio
import socket
from collections.abc import Sequence
from typing import Final

import dns.exception
import dns.flags
import dns.message
import dns.name
import dns.rcode
import dns.rdatatype

from wanwatch.core.model import Cause, Outcome, Pin
from wanwatch.measure.flights import Reading
from wanwatch.measure.sockets import open_pinned, resolve

PORT: Final = 53
_PACKET_BYTES: Final = 4096


def question(name: str, kind: str = "A") -> dns.message.QueryMessage:
    """Return a query with a random ID, recursion desired, and room for 1232 octets."""
    return dns.message.make_query(name, kind, use_edns=0, payload=1232)


def reading(query: dns.message.Message, reply: dns.message.Message) -> Reading | None:
    """Return what *reply* says: answered only with an address for the name; None if it answers another question."""
    if not query.is_response(reply):
        return None
    if reply.flags & dns.flags.TC:
        return Reading(0, None)
    rcode = dns.rcode.to_text(reply.rcode())
    if rcode == "NOERROR" and addresses(query, reply):
        return Reading(0, facts={"rcode": rcode})
    return Reading(0, Outcome.REFUSED, Cause.RCODE, {"rcode": rcode})


def addresses(query: dns.message.Message, reply: dns.message.Message) -> list[str]:
    """Return the addresses that *reply* gives for the name asked for, following its aliases."""
    asked = query.question[0]
    name: dns.name.Name | None = asked.name
    by_name = {(found.name, found.rdtype): found for found in reply.answer}
    for _ in range(len(by_name) + 1):  # bounded: aliases may run in a ring
        found = by_name.get((name, asked.rdtype)) if name is not None else None
        if found is not None:
            return [record.to_text() for record in found]
        alias = by_name.get((name, dns.rdatatype.CNAME)) if name is not None else None
        name = alias[0].target if alias is not None else None
    return []


async def ask_tcp(pin: Pin, resolver: str, port: int, query: dns.message.Message) -> dns.message.Message | None:
    """Ask over TCP; None if what came back is no DNS message. OSError where there is no connection. Cancel to bound."""
    family, to = resolve(resolver, port)
    loop = asyncio.get_running_loop()
    with open_pinned(pin, family, socket.SOCK_STREAM) as sock:
        await loop.sock_connect(sock, to)
        wire = query.to_wire()
        await loop.sock_sendall(sock, len(wire).to_bytes(2, "big") + wire)
        length = int.from_bytes(await _exactly(sock, 2), "big")
        return _parsed(await _exactly(sock, length))


async def _ask_udp(pin: Pin, resolver: str, query: dns.message.Message) -> dns.message.Message:
    """Ask over UDP; what does not answer *query* is ignored. Cancel to bound."""
    family, to = resolve(resolver, PORT)
    loop = asyncio.get_running_loop()
    with open_pinned(pin, family, socket.SOCK_DGRAM) as sock:
        await loop.sock_connect(sock, to)
        await loop.sock_sendall(sock, query.to_wire())
        while True:
            reply = _parsed(await loop.sock_recv(sock, _PACKET_BYTES))
            if reply is not None and query.is_response(reply):
                return reply


async def look_up(pin: Pin, name: str, resolvers: Sequence[str], each_s: float) -> list[str]:
    """Return addresses of *name*: of the first of *resolvers* that knows any, IPv4 before IPv6; none is an empty list.

    Args:
        pin: How to ask.
        name: A host name.
        resolvers: Their IP addresses, asked in turn.
        each_s: Seconds to wait for each answer.
    """
    for resolver in resolvers:
        for kind in ("A", "AAAA"):
            query = question(name, kind)
            try:
                async with asyncio.timeout(each_s):
                    reply: dns.message.Message | None = await _ask_udp(pin, resolver, query)
                    if reply is not None and reply.flags & dns.flags.TC:
                        reply = await ask_tcp(pin, resolver, PORT, query)
            except (OSError, TimeoutError):
                break  # this resolver does not answer: the next one
            if reply is not None and (found := addresses(query, reply)):
                return found
    return []


def _parsed(wire: bytes) -> dns.message.Message | None:
    try:
        return dns.message.from_wire(wire, ignore_trailing=True)
    except (dns.exception.DNSException, ValueError):
        return None


async def _exactly(sock: socket.socket, length: int) -> bytes:
    loop = asyncio.get_running_loop()
    data = b""
    while len(data) < length:
        part = await loop.sock_recv(sock, length - len(data))
        if not part:
            raise ConnectionResetError
        data += part
    return data
