"""Connections of our own, by a line: its sockets, and its answers to names."""

import asyncio
import socket
from typing import Any

import aiohttp
import pytest
from aiohttp import web

from wanwatch.publish.ways import Line, connect, http_session


def line(*addresses: str) -> tuple[Line, list[str], list[socket.AddressFamily]]:
    """A line on which each name has these addresses; what it was asked, and which sockets it opened."""
    asked: list[str] = []
    opened: list[socket.AddressFamily] = []

    async def look_up(host: str) -> tuple[str, ...]:
        asked.append(host)
        return addresses

    def way(address: Any) -> socket.socket:
        family, kind, protocol, *_ = address
        opened.append(family)
        return socket.socket(family, kind | socket.SOCK_NONBLOCK, protocol)

    return Line("fibre", way, look_up), asked, opened


async def test_a_name_is_asked_for_by_the_line_that_the_request_leaves_by() -> None:
    """The machine's own resolver may be reached by a broken line only; the server still hears the name (RFC 9110)."""
    heard: list[str] = []

    async def handle(request: web.Request) -> web.Response:
        heard.append(request.host)
        return web.Response()

    app = web.Application()
    app.add_routes([web.post("/", handle)])
    runner = web.AppRunner(app)
    await runner.setup()
    await web.TCPSite(runner, "127.0.0.1", 0).start()
    port = runner.addresses[0][1]
    by, asked, opened = line("127.0.0.1")
    try:
        async with http_session(by, None, 5.0) as session, session.post(f"http://hook.example.net:{port}/") as answer:
            assert answer.status == 200
    finally:
        await runner.cleanup()
    assert heard == [f"hook.example.net:{port}"]
    assert asked == ["hook.example.net"]
    assert opened == [socket.AF_INET]


async def test_a_name_that_nobody_knows_is_an_error_of_the_network() -> None:
    """Trouble with names is trouble like any other: tried again."""
    by, _, opened = line()
    with pytest.raises(OSError, match=r"the name mail\.example\.net does not resolve"):
        await connect(by, "mail.example.net", 25)
    async with http_session(by, None, 5.0) as session:
        with pytest.raises(aiohttp.ClientConnectorError, match="does not resolve"):
            await session.get("http://hook.example.net/")
    assert opened == []


async def test_the_second_address_is_tried_where_the_first_is_deaf() -> None:
    """RFC 8305 section 5: who has two addresses is reached by either."""
    server = await asyncio.start_server(lambda _, writer: writer.close(), "127.0.0.1", 0)
    port = server.sockets[0].getsockname()[1]
    by, _, opened = line("::1", "127.0.0.1")
    async with server:
        with await connect(by, "mail.example.net", port) as sock:
            assert sock.getpeername() == ("127.0.0.1", port)
        with await connect(by, "127.0.0.1", port) as sock:
            assert sock.getpeername() == ("127.0.0.1", port)
    assert opened == [socket.AF_INET6, socket.AF_INET, socket.AF_INET]
