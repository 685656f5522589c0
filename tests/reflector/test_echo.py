"""The echo far end gives back what came, all of it and nothing more, within each caller's share."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

import pytest

from wanwatch.reflector import EchoLimits, EchoServer, ReflectorError, Serving, Settings, serve

USUAL = EchoLimits()
GENEROUS = EchoLimits(reads_per_s=1e6, burst=10**6)


@asynccontextmanager
async def far_end(limits: EchoLimits = USUAL) -> AsyncIterator[EchoServer]:
    """An echo far end on loopback."""
    server = EchoServer(limits)
    await server.start("127.0.0.1", 0)
    try:
        yield server
    finally:
        server.close()
        await asyncio.sleep(0.01)


@asynccontextmanager
async def caller(server: EchoServer) -> AsyncIterator[tuple[asyncio.StreamReader, asyncio.StreamWriter]]:
    """One connection to it."""
    reader, writer = await asyncio.open_connection("127.0.0.1", server.port)
    try:
        yield reader, writer
    finally:
        writer.transport.abort()


async def ended(reader: asyncio.StreamReader) -> bool:
    """Whether the far end ends the connection within 5 s, without a word."""
    try:
        return await asyncio.wait_for(reader.read(1), 5) == b""
    except ConnectionResetError:
        return True


async def test_what_comes_goes_back_byte_by_byte() -> None:
    """RFC 862: "any data received is sent back"."""
    async with far_end() as server, caller(server) as (reader, writer):
        for number in range(50):
            writer.write(bytes([number]))
            assert await asyncio.wait_for(reader.readexactly(1), 5) == bytes([number])


async def test_a_long_text_goes_back_whole_and_nothing_follows_it() -> None:
    """RFC 862 on a TCP connection; never more goes back than came, so that an end of sending ends the answer, too."""
    text = bytes(range(256)) * 400
    async with far_end(GENEROUS) as server, caller(server) as (reader, writer):
        writer.write(text)
        writer.write_eof()
        assert await asyncio.wait_for(reader.read(-1), 10) == text


async def test_it_reads_no_more_from_a_caller_that_does_not_fetch_its_answer() -> None:
    """What waits for a caller waits in the caller's own memory: the kernels' buffers fill, and then its own."""
    async with far_end(GENEROUS) as server, caller(server) as (reader, writer):
        reader._transport.pause_reading()  # type: ignore[attr-defined]
        for _ in range(400):
            writer.write(bytes(65_536))
            await asyncio.sleep(0)
        await asyncio.sleep(0.2)
        (connection,) = server._shared.open
        assert writer.transport.get_write_buffer_size() > 0
        assert connection._transport.get_write_buffer_size() <= 1024 + 256


async def test_an_address_that_talks_too_much_is_hung_up_on() -> None:
    """A share of reads for each address."""
    async with far_end(EchoLimits(reads_per_s=1, burst=3)) as server, caller(server) as (reader, writer):
        for _ in range(3):
            writer.write(b"1")
            await reader.readexactly(1)
        writer.write(b"1")
        assert await ended(reader)


async def test_an_address_holds_no_more_connections_than_its_share() -> None:
    """The one too many is refused, those that stand go on, and one that has gone makes room."""
    async with far_end(EchoLimits(each=2)) as server:
        async with caller(server) as (first, say), caller(server):
            async with caller(server) as (third, _):
                assert await ended(third)
            say.write(b"still here")
            assert await asyncio.wait_for(first.readexactly(10), 5) == b"still here"
        await asyncio.sleep(0.05)
        async with caller(server) as (reader, writer):
            writer.write(b"x")
            assert await asyncio.wait_for(reader.readexactly(1), 5) == b"x"


async def test_all_addresses_together_hold_no_more_than_there_is_room_for() -> None:
    """Memory that a stranger cannot fill."""
    async with far_end(EchoLimits(at_once=1)) as server, caller(server), caller(server) as (second, _):
        assert await ended(second)
        assert server.connections == 1


async def test_a_connection_without_a_word_is_ended_in_time_and_a_busy_one_is_not() -> None:
    """Idle time is counted from the last word."""
    async with far_end(EchoLimits(idle_s=0.3)) as server, caller(server) as (quiet, _), caller(server) as (busy, say):
        for _ in range(5):
            say.write(b"x")
            await busy.readexactly(1)
            await asyncio.sleep(0.1)
        assert server.connections == 1
        assert await ended(quiet)
        assert await ended(busy)
        assert len(server._shared.of) == 0


async def test_it_cannot_listen_where_somebody_does_already() -> None:
    """A clear error at the start."""
    async with far_end() as server:
        with pytest.raises(ReflectorError, match=f"cannot listen on 127.0.0.1 port {server.port}"):
            await EchoServer().start("127.0.0.1", server.port)


async def test_the_reflector_serves_it_where_a_port_is_given() -> None:
    """And says so in its line; without a port it is not served (see the test of all ports)."""
    ready: asyncio.Queue[Serving] = asyncio.Queue()
    settings = Settings(address="127.0.0.1", stamp_port=0, stun_port=0, echo_port=0)
    task = asyncio.create_task(serve(settings, on_ready=ready.put_nowait))
    serving = await asyncio.wait_for(ready.get(), 5)
    assert serving.echo is not None
    assert serving.text().endswith(f", echo on TCP port {serving.echo.port}")
    async with caller(serving.echo) as (reader, writer):
        writer.write(b"hello")
        assert await asyncio.wait_for(reader.readexactly(5), 5) == b"hello"
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)
