"""A crowd before the daemon's pages, in a process of its own: `python -m tests.web.crowd PORT`, told by lines of stdin.

`look N` opens N event streams; from then on each of them asks for the page when a change is told, as the page's script
does. `press` lets others come who are slow, or who send too much; `tell` does nothing. Each line is answered, once that
is done, with what came of all so far, as JSON.
"""

import asyncio
import contextlib
import json
import random
import sys
from collections import Counter
from collections.abc import AsyncIterator, Coroutine
from typing import Final

HOST: Final = "127.0.0.1"
SPREAD_S: Final = 0.4
"""The page's script waits for up to so long before it asks again, so that not all ask at once."""
SLOW: Final = 20
"""So many send a letter of their request every half second, and as many do not read what they ask for."""
BODY_BYTES: Final = 100_000_000
_CHUNK: Final = bytes(65_536)
_MANY: Final = 200
"""So many pages do not fit into what systems keep for a connection that nobody reads."""


class Crowd:
    """All of them.

    Args:
        port: Where the pages are.
    """

    def __init__(self, port: int) -> None:
        self._port = port
        self._came: set[asyncio.Task[None]] = set()
        self.told: Counter[str] = Counter()

    async def look(self, number: int) -> None:
        """Open event streams; returns once all of them are answered."""
        looking = asyncio.Barrier(number + 1)
        for _ in range(number):
            self._comes(self._look_on(looking))
        await looking.wait()

    async def press(self) -> None:
        """Let the others come; returns once whoever sends too much was stopped."""
        for _ in range(SLOW):
            self._comes(self._writes_slowly())
            self._comes(self._reads_nothing())
        await asyncio.gather(self._sends_much(chunked=False), self._sends_much(chunked=True))

    def _comes(self, doing: Coroutine[None, None, None]) -> None:
        self._came.add(asyncio.create_task(doing))

    @contextlib.asynccontextmanager
    async def _asking(self, head: str) -> AsyncIterator[tuple[asyncio.StreamReader, asyncio.StreamWriter]]:
        reader, writer = await asyncio.open_connection(HOST, self._port)
        try:
            writer.write(f"{head}\r\nHost: {HOST}\r\n\r\n".encode())
            yield reader, writer
        finally:
            writer.transport.abort()

    async def _look_on(self, looking: asyncio.Barrier) -> None:
        async with self._asking("GET /api/stream HTTP/1.1") as (reader, _):
            await reader.readuntil(b"retry: 2000\n\n")
            await looking.wait()
            while line := await reader.readline():
                if line.startswith(b"event: figures"):
                    self.told["figures"] += 1
                elif line.startswith(b"event: state"):
                    self.told["changes"] += 1
                    await asyncio.sleep(random.uniform(0.05, SPREAD_S))  # noqa: S311 - no secret
                    await self._read_page()

    async def _read_page(self) -> None:
        async with self._asking("GET / HTTP/1.1\r\nConnection: close") as (reader, _):
            page = await reader.read()
            self.told["pages"] += page.startswith(b"HTTP/1.1 200 ") and b"</html>" in page[-20:]

    async def _writes_slowly(self) -> None:
        reader, writer = await asyncio.open_connection(HOST, self._port)
        reading = asyncio.create_task(reader.read())
        writer.write(b"GET / HTTP/1.1\r\nX-Slow: ")
        while not reading.done():
            writer.write(b"G")
            await asyncio.wait({reading}, timeout=0.5)
        self.told["slow writers sent away"] += 1

    async def _reads_nothing(self) -> None:
        asked = "\r\n".join([f"GET / HTTP/1.1\r\nHost: {HOST}\r\n"] * _MANY)
        reader, writer = await asyncio.open_connection(HOST, self._port)
        reader._transport.pause_reading()  # type: ignore[attr-defined]
        writer.write(f"{asked}\r\n".encode())
        with contextlib.suppress(ConnectionError):
            while True:
                writer.write(b"\r\n")  # what nobody reads is not told; what cannot be written is
                await writer.drain()
                await asyncio.sleep(0.5)
        self.told["slow readers sent away"] += 1

    async def _sends_much(self, *, chunked: bool) -> None:
        length = "Transfer-Encoding: chunked" if chunked else f"Content-Length: {BODY_BYTES}"
        async with self._asking(f"POST / HTTP/1.1\r\n{length}") as (_, writer):
            with contextlib.suppress(ConnectionError):  # whoever is refused in the middle need not go on
                for _ in range(BODY_BYTES // len(_CHUNK)):
                    writer.write(b"10000\r\n%b\r\n" % _CHUNK if chunked else _CHUNK)
                    await writer.drain()
            self.told["bodies sent"] += 1


async def obey(port: int) -> None:
    """Do what lines of stdin say, until there is none."""
    crowd = Crowd(port)
    while line := await asyncio.to_thread(sys.stdin.readline):
        word, *numbers = line.split()
        if word != "tell":
            await getattr(crowd, word)(*map(int, numbers))
        print(json.dumps(crowd.told), flush=True)  # noqa: T201 - its answer


if __name__ == "__main__":
    asyncio.run(obey(int(sys.argv[1])))
