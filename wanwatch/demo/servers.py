"""The far ends: real servers on loopback addresses, which treat each client as its line would.

No server has a privileged port, and each takes a free one where its usual one is in use.
"""

import asyncio
import contextlib
import socket
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass
from functools import partial
from typing import Final, NamedTuple

from aiohttp import web

from wanwatch.demo import answers
from wanwatch.demo._listener import ChoosyListener
from wanwatch.demo.office import LINES, Scene, loss_ratio
from wanwatch.demo.roads import Roads

Answer = Callable[[bytes, answers.Peer], bytes | None]
_ORDINARY: Final = "127.0.0.1"  # any source that is no line's own stands for ordinary traffic


class Place(NamedTuple):
    """Where a server listens."""

    address: str
    port: int

    def __str__(self) -> str:
        """As it is written in a configuration."""
        return f"{self.address}:{self.port}"


@dataclass(frozen=True, slots=True)
class Places:
    """Where every server listens."""

    near: Place
    far: Place
    till: Place
    web: Place
    resolvers: tuple[Place, ...]
    stun: tuple[Place, ...]


USUAL: Final = Places(
    near=Place("127.20.1.1", 20862),
    far=Place("127.20.1.2", 20862),
    till=Place("127.20.1.3", 20443),
    web=Place("127.20.1.80", 20080),
    resolvers=(Place("127.20.1.53", 20053), Place("127.20.1.54", 20053)),
    stun=(Place("127.20.1.78", 23478), Place("127.20.1.79", 23478)),
)
"""Where they would like to listen."""


def free_place(wish: Place, kind: socket.SocketKind) -> Place:
    """Return *wish* if nobody listens there, else the same address with a port that the kernel finds free."""
    for port in (wish.port, 0):
        with socket.socket(socket.AF_INET, kind) as trial, contextlib.suppress(OSError):
            trial.bind((wish.address, port))
            return Place(*trial.getsockname())
    return wish  # no port at all is free; the server that binds it next will say so


class UdpServer(asyncio.DatagramProtocol):
    """Answer datagrams after the delay of the sender's line, or not at all."""

    def __init__(self, roads: Roads, answer: Answer) -> None:
        self._roads, self._answer = roads, answer
        self._transport: asyncio.DatagramTransport | None = None

    def connection_made(self, transport: asyncio.DatagramTransport) -> None:  # type: ignore[override]  # it is one
        """Keep the transport to answer on."""
        self._transport = transport

    def datagram_received(self, data: bytes, addr: answers.Peer) -> None:
        """Let the packet take its road; the question is answered where the road ends."""
        delay_s = self._roads.fate(addr[0])
        if delay_s is not None:
            asyncio.get_running_loop().call_later(delay_s, self._reply, data, addr)

    def _reply(self, data: bytes, addr: answers.Peer) -> None:
        said = self._answer(data, addr)
        if said is not None and self._transport is not None and not self._transport.is_closing():
            self._transport.sendto(said, addr)


@contextlib.asynccontextmanager
async def serving(roads: Roads, wishes: Places = USUAL) -> AsyncIterator[Places]:
    """Run all servers of the story; yields where they listen."""
    places = _that_are_free(wishes)
    async with contextlib.AsyncExitStack() as running:
        for place in (places.near, places.far):
            await _serve_udp(running, place, roads, answers.stamp_answer)
        for place in places.resolvers:
            await _serve_udp(running, place, roads, answers.dns_answer)
        for place in places.stun:
            await _serve_udp(running, place, roads, lambda data, peer: answers.stun_answer(data, peer, roads.scene))
        page = web.Server(partial(_page, roads), access_log=None)
        running.push_async_callback(page.shutdown, 0.1)
        await _serve_tcp(running, places.web, roads, page)
        await _serve_tcp(running, places.till, roads, asyncio.Protocol)
        yield places


async def _serve_udp(running: contextlib.AsyncExitStack, place: Place, roads: Roads, answer: Answer) -> None:
    loop = asyncio.get_running_loop()
    transport, _ = await loop.create_datagram_endpoint(lambda: UdpServer(roads, answer), local_addr=place)
    running.callback(transport.close)


async def _serve_tcp(
    running: contextlib.AsyncExitStack, place: Place, roads: Roads, protocol: Callable[[], asyncio.BaseProtocol]
) -> None:
    listener = ChoosyListener(*place)
    running.callback(listener.close)
    roads.watch(partial(_miss, listener))
    server = await asyncio.get_running_loop().create_server(protocol, sock=listener.hears)
    running.callback(server.close)


async def _page(roads: Roads, request: web.BaseRequest) -> web.StreamResponse:
    """Serve a small page; a client whose line stays silent for long is hung up on."""
    transport = request.transport
    if transport is not None and not await roads.deliver(transport.get_extra_info("peername")[0]):
        transport.abort()
    return web.Response(text="The invented provider of Harbour Lane says hello.\n")


def _miss(listener: ChoosyListener, scene: Scene) -> None:
    """Leave handshakes unanswered as the lines lose them."""
    misses = {line.source: loss_ratio(scene, line.source) for line in LINES}
    listener.miss(misses, otherwise=loss_ratio(scene, _ORDINARY))


def _that_are_free(wishes: Places) -> Places:
    udp, tcp = socket.SOCK_DGRAM, socket.SOCK_STREAM
    return Places(
        near=free_place(wishes.near, udp),
        far=free_place(wishes.far, udp),
        till=free_place(wishes.till, tcp),
        web=free_place(wishes.web, tcp),
        resolvers=tuple(free_place(wish, udp) for wish in wishes.resolvers),
        stun=tuple(free_place(wish, udp) for wish in wishes.stun),
    )
