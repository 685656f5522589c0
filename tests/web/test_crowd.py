"""Probing goes on in time while a crowd stands before the pages, and nobody can keep the daemon waiting for ever."""

import asyncio
import contextlib
import json
import ssl
from collections.abc import AsyncIterator
from pathlib import Path

import pytest
import trustme
from aiohttp import web

from tests.bench.bench_metrics import lateness
from tests.fakes.clock import START_UNIX_NS
from tests.fakes.web import office, troubled_office
from tests.web.pressed import EVERY_NS, ONLOOKERS, TURNS, Sends, crowded
from wanwatch.core.model import NS_PER_S, Bounds, Event, EventKind
from wanwatch.publish import Metrics
from wanwatch.tls import Certificate, server_context
from wanwatch.web import patience, stream
from wanwatch.web.app import happened, make_app, serve

HELD_MS = 50
"""The most processor time that the loop may be held in one go; wall time would judge the machine that tests run on."""
LOOKS_S = 3.0
MUCH_BYTES = 20_000_000
EVENTS = 10_000
HEALTH = "GET /health HTTP/1.1\nHost: 127.0.0.1\n\n"


async def test_sends_go_out_in_time_before_five_hundred_onlookers_and_worse(tmp_path: Path) -> None:
    """Idle streams, a change that all of them read, slow requests, answers that nobody reads, bodies of 100 MB."""
    sends = Sends()
    async with crowded(tmp_path) as (app, crowd):
        assert await crowd.do(f"look {ONLOOKERS}") == {}
        before = await crowd.do("tell")

        async def press() -> None:
            happened(app, "state", "fibre")
            await crowd.do("press")
            await asyncio.sleep(LOOKS_S)

        with sends.going():
            found = await lateness(press)
        told = await crowd.do("tell")
    assert told["changes"] == told["pages"] == ONLOOKERS
    assert told["figures"] > before.get("figures", 0)
    assert told["bodies sent"] == 2
    due = TURNS * LOOKS_S * NS_PER_S / EVERY_NS
    assert len(sends.late_ns) > due / 2
    assert float(str(found["held_cpu_worst_ms"])) < HELD_MS


@contextlib.asynccontextmanager
async def running(folder: Path, asks_within_s: float = patience.ASKS_WITHIN_S) -> AsyncIterator[int]:
    """Serve an office's pages; yield the port."""
    runner = patience.Runner(make_app(Metrics("s", "1").registry, troubled_office(folder)), asks_within_s)
    await runner.setup()
    try:
        await web.TCPSite(runner, "127.0.0.1", 0).start()
        yield runner.addresses[0][1]
    finally:
        await runner.cleanup()


@contextlib.asynccontextmanager
async def connected(port: int, said: str = "") -> AsyncIterator[asyncio.StreamReader]:
    """Connect and say something; a line's end is CR LF, as HTTP has it."""
    reader, writer = await asyncio.open_connection("127.0.0.1", port, limit=1024)
    writer.write(said.replace("\n", "\r\n").encode())
    try:
        yield reader
    finally:
        writer.close()
        with contextlib.suppress(ConnectionError):
            await writer.wait_closed()


async def test_years_of_events_are_told_without_holding_up_a_send(tmp_path: Path) -> None:
    """What is long is read and written beside the loop, and the loop has its turn meanwhile."""
    at = Bounds(START_UNIX_NS, START_UNIX_NS, START_UNIX_NS)
    many = tuple(
        Event(f"failover-{number}", "harbour-lane", EventKind.FAILOVER, None, at, at) for number in range(EVENTS)
    )
    app = make_app(Metrics("s", "1").registry, office(tmp_path, events=many))
    told: list[bytes] = []
    runner = await serve(app, "127.0.0.1", 0)
    try:
        async with connected(runner.addresses[0][1], "GET /api/events HTTP/1.0\nHost: 127.0.0.1\n\n") as reader:

            async def read() -> None:
                told.append(await reader.read())

            found = await lateness(read)
    finally:
        await runner.cleanup()
    assert len(json.loads(told[0].partition(b"\r\n\r\n")[2])) == EVENTS
    assert float(str(found["held_cpu_worst_ms"])) < HELD_MS


async def test_no_more_look_on_than_can_be_told_in_time(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """One too many is told so, and when to come again."""
    monkeypatch.setattr(stream, "MOST", 1)
    asked = "GET /api/stream HTTP/1.1\nHost: 127.0.0.1\n\n"
    async with running(tmp_path) as port, connected(port, asked) as first:
        assert await first.readline() == b"HTTP/1.1 200 OK\r\n"
        async with connected(port, asked) as second:
            head = await asyncio.wait_for(second.readuntil(b"\r\n\r\n"), 5)
    assert head.startswith(b"HTTP/1.1 503 ")
    assert b"Retry-After: 10\r\n" in head


@pytest.mark.parametrize("begun", ["", "GET / HTTP/1.1\nHost: 127", HEALTH], ids=["nothing", "half a head", "one only"])
async def test_a_request_that_does_not_come_is_not_waited_for(tmp_path: Path, begun: str) -> None:
    """Half a head, or none after an answer: the connection ends."""
    async with running(tmp_path, asks_within_s=0.3) as port, connected(port, begun) as reader:
        said = await asyncio.wait_for(reader.read(), 5)
    assert said.startswith(b"HTTP/1.1 200") is (begun == HEALTH)


async def test_an_answer_that_is_not_taken_is_given_up(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Who asks for much and reads nothing is hung up on."""
    monkeypatch.setattr(patience, "TAKES_WITHIN_S", 0.3)
    asked = "GET /reports/2026-08.html HTTP/1.1\nHost: 127.0.0.1\n\n"
    async with running(tmp_path) as port:
        (tmp_path / "reports" / "2026-08.html").write_text("much" * (MUCH_BYTES // 4), "utf-8")
        async with connected(port, asked) as reader:
            await asyncio.sleep(1)
            with contextlib.suppress(ConnectionError):  # as the system tells it, by when we read
                assert len(await reader.read()) < MUCH_BYTES


async def test_no_more_come_in_than_there_is_room_for(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Beyond the limit a connection ends at once, so that probes find files to open; who leaves makes room."""
    monkeypatch.setattr(patience, "MOST", 2)
    async with running(tmp_path) as port, connected(port):
        async with connected(port):
            await asyncio.sleep(0.1)
            async with connected(port, HEALTH) as reader:
                with contextlib.suppress(ConnectionError):  # as the system tells it, by when we wrote
                    assert await asyncio.wait_for(reader.read(), 5) == b""
        await asyncio.sleep(0.1)
        async with connected(port, HEALTH) as reader:
            assert await asyncio.wait_for(reader.readline(), 5) == b"HTTP/1.1 200 OK\r\n"


async def test_half_a_handshake_takes_room_and_is_not_waited_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Over TLS as well nobody comes in beyond the limit, and who says nothing is hung up on; then there is room."""
    monkeypatch.setattr(patience, "MOST", 2)
    monkeypatch.setattr(patience, "GREETS_WITHIN_S", 0.5)
    authority = trustme.CA()
    pem = tmp_path / "both.pem"
    authority.issue_cert("127.0.0.1").private_key_and_cert_chain_pem.write_to_path(str(pem))
    trusting = ssl.create_default_context()
    authority.configure_trust(trusting)
    app = make_app(Metrics("s", "1").registry, troubled_office(tmp_path))
    runner = await serve(app, "127.0.0.1", 0, tls=Certificate(server_context(pem, None)).listening)
    port = runner.addresses[0][1]
    try:
        async with connected(port) as silent, connected(port, "GET / HTTP/1.1\n\n") as plain:
            assert await asyncio.wait_for(plain.read(), 5) == b""  # no TLS, no answer
            async with connected(port) as other, connected(port) as third:
                with contextlib.suppress(ConnectionError):
                    assert await asyncio.wait_for(third.read(), 0.4) == b""
                for reader in (silent, other):
                    with contextlib.suppress(ConnectionError):
                        assert await asyncio.wait_for(reader.read(), 5) == b""
        reader, writer = await asyncio.open_connection("127.0.0.1", port, ssl=trusting)
        writer.write(HEALTH.replace("\n", "\r\n").encode())
        assert await asyncio.wait_for(reader.readline(), 5) == b"HTTP/1.1 200 OK\r\n"
        writer.close()
    finally:
        await runner.cleanup()


async def test_what_is_no_request_is_refused_and_fills_no_log(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """A stranger's noise gets its 400, and no page of the log each time."""
    async with running(tmp_path) as port, connected(port, "GET / HTTP/1.1\nX-Odd: \0\n\n") as reader:
        assert b" 400 " in await reader.readline()
    assert caplog.text == ""
