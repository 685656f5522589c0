"""Connections on loopback that count themselves, and what a packet socket beside them saw: both as JSON.

Usage: python exchange.py, alone on a host of the lab. It prints, by what was done, what was counted and what was seen.
"""

import asyncio
import json
import socket
import ssl
import struct
import sys
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from functools import partial
from typing import Final

import trustme

from wanwatch.core.model import Pin
from wanwatch.measure.counted import Counted
from wanwatch.measure.sockets import open_pinned

IP: Final = {0x0800: (2, 0), 0x86DD: (4, 40)}
"""By EtherType, where an IP packet's length stands (RFC 791 section 3.1, RFC 8200 section 3), and what it lacks."""
OUTGOING: Final = 4
SERVER: Final = "mail.example.net"
AUTHORITY: Final = trustme.CA()
Talk = Callable[[asyncio.StreamReader, asyncio.StreamWriter], Awaitable[None]]


def seen(sniffer: socket.socket) -> int:
    """Bytes of IP packets that passed since it was last asked; on loopback each one is seen going and coming."""
    total = 0
    while True:
        try:
            packet, (_, kind, way, *_) = sniffer.recvfrom(1 << 17)
        except BlockingIOError:
            return total
        at, lacking = IP[kind]
        if way == OUTGOING:
            total += struct.unpack_from("!H", packet, at)[0] + lacking


async def echoed(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    """Give everything back, as a server."""
    while data := await reader.read(1 << 16):
        writer.write(data)
    writer.close()


async def talked(number: int, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    """Send so many bytes and have them back, as a client that hangs up first."""
    writer.write(bytes(number))
    await reader.readexactly(number)
    writer.close()
    await writer.wait_closed()


@asynccontextmanager
async def serving(address: str, tls: ssl.SSLContext | None) -> AsyncIterator[tuple[str, int]]:
    """Somebody who gives everything back."""
    server = await asyncio.start_server(echoed, address, 0, ssl=tls)
    async with server:
        yield server.sockets[0].getsockname()[:2]


def contexts() -> tuple[ssl.SSLContext, ssl.SSLContext]:
    """For a server, and for a client that trusts it."""
    server, client = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH), ssl.create_default_context()
    AUTHORITY.issue_cert(SERVER).configure_cert(server)
    AUTHORITY.configure_trust(client)
    return server, client


async def exchange(address: str, talk: Talk, *, tls: bool = False, by_another: bool = False) -> list[int]:
    """Talk to somebody; what was counted."""
    counted: list[int] = []
    theirs, ours = contexts() if tls else (None, None)
    async with serving(address, theirs) as to:
        family = socket.AF_INET6 if ":" in address else socket.AF_INET
        sock: socket.socket = Counted(open_pinned(Pin(), family, socket.SOCK_STREAM), counted.append)
        await asyncio.get_running_loop().sock_connect(sock, to)
        if by_another:
            first, sock = sock, sock.dup()
            first.close()
        await talk(*await asyncio.open_connection(sock=sock, ssl=ours, server_hostname=SERVER if tls else None))
        await asyncio.sleep(0.1)
    return counted


async def refused() -> list[int]:
    """Knock where nobody listens; what was counted."""
    counted: list[int] = []
    with socket.socket() as held:
        held.bind(("127.0.0.1", 0))
        with Counted(open_pinned(Pin(), socket.AF_INET, socket.SOCK_STREAM), counted.append) as sock:
            try:
                await asyncio.get_running_loop().sock_connect(sock, held.getsockname())
            except ConnectionRefusedError:
                return counted
    raise AssertionError


async def main() -> None:
    """Do each, and print what came of it."""
    few, many = partial(talked, 1000), partial(talked, 3_000_000)
    done: dict[str, Callable[[], Awaitable[list[int]]]] = {
        "few": partial(exchange, "127.0.0.1", few),
        "few by IPv6": partial(exchange, "::1", few),
        "by TLS": partial(exchange, "127.0.0.1", few, tls=True),
        "many": partial(exchange, "127.0.0.1", many),
        "by another socket": partial(exchange, "127.0.0.1", few, by_another=True),
        "refused": refused,
    }
    with socket.socket(socket.AF_PACKET, socket.SOCK_DGRAM, socket.htons(3)) as sniffer:
        sniffer.bind(("lo", 3))
        sniffer.setsockopt(socket.SOL_SOCKET, 33, 64 << 20)  # SO_RCVBUFFORCE
        sniffer.settimeout(0)
        found: dict[str, dict[str, object]] = {}
        for what, do in done.items():
            seen(sniffer)
            counted = await do()
            found[what] = {"counted": counted, "seen": seen(sniffer)}
    json.dump(found, sys.stdout)


if __name__ == "__main__":
    asyncio.run(main())
