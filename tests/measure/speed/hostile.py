"""Far ends of speed tests that do not do what they should, on loopback."""

import asyncio
import socket
import struct
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager, suppress

Behave = Callable[[asyncio.StreamReader, asyncio.StreamWriter], Awaitable[None]]

OK = b"HTTP/1.1 200 OK\r\nContent-Type: application/octet-stream\r\n"
BLOCK = bytes(65_536)


@asynccontextmanager
async def far_end(behave: Behave) -> AsyncIterator[int]:
    """Serve so until the end; gives the port."""
    tasks: list[asyncio.Task[None]] = []
    writers: list[asyncio.StreamWriter] = []

    async def served(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        with suppress(ConnectionError):
            await behave(reader, writer)
        writer.close()

    def begin(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writers.append(writer)
        tasks.append(asyncio.create_task(served(reader, writer)))

    server = await asyncio.start_server(begin, "127.0.0.1", 0)
    try:
        yield server.sockets[0].getsockname()[1]
    finally:
        server.close()
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
        for writer in writers:
            writer.transport.abort()
        await asyncio.sleep(0.01)  # until the sockets are closed as well


def says(head: bytes, *, then: Behave | None = None) -> Behave:
    """Answer any request with this head, then go on."""

    async def behave(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.readuntil(b"\r\n\r\n")
        writer.write(head + b"\r\n")
        await writer.drain()
        if then is not None:
            await then(reader, writer)

    return behave


async def silent(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    """Take everything, say nothing."""
    del writer
    while await reader.read(65_536):
        pass


async def stops_reading(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    """Take and say nothing."""
    del reader, writer
    await asyncio.sleep(60)


async def pours(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    """Give bytes for ever."""
    del reader
    while True:
        writer.write(BLOCK)
        await writer.drain()


async def drips(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    """Give a byte now and then, for ever."""
    del reader
    while True:
        writer.write(b"x")
        await writer.drain()
        await asyncio.sleep(0.05)


async def drips_a_head(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    """Give a head for ever, a field at a time."""
    del reader
    writer.write(b"HTTP/1.1 200 OK\r\n")
    while True:
        writer.write(b"X: y\r\n")
        await writer.drain()
        await asyncio.sleep(0.05)


async def head_without_end(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    """Give a head for ever, as fast as it goes."""
    del reader
    while True:
        writer.write(b"X: y\r\n" * 1000)
        await writer.drain()


async def resets(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    """Give some, then reset."""
    del reader
    writer.write(BLOCK)
    await writer.drain()
    await asyncio.sleep(0.2)
    # Closing with nothing to linger for is a reset (socket(7), SO_LINGER).
    writer.get_extra_info("socket").setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
    writer.transport.abort()


async def gives_some_and_stalls(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    """Give some, then nothing, and stay."""
    del reader
    writer.write(BLOCK)
    await writer.drain()
    await asyncio.sleep(60)


def gives(count: int) -> Behave:
    """Give so many bytes and close."""

    async def behave(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        del reader
        writer.write(bytes(count))
        await writer.drain()

    return behave
