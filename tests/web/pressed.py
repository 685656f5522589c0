"""How punctual probing is while a crowd stands before the pages that the same process serves."""

import asyncio
import contextlib
import gc
import json
import resource
import sys
from collections.abc import AsyncIterator, Iterator
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Final

from aiohttp import web

from tests.fakes.web import troubled_office
from wanwatch.clock import RealClock
from wanwatch.core.model import NS_PER_S
from wanwatch.measure.pace import Pacer, Turn, spread
from wanwatch.publish import Metrics
from wanwatch.web.app import make_app, serve

ROOT: Final = Path(__file__).resolve().parents[2]
ONLOOKERS: Final = 500
TURNS: Final = 20
EVERY_NS: Final = NS_PER_S // 10
"""As many sends a second as a daemon with forty targets makes while it asks quickly."""


@dataclass
class Sends:
    """The sends of a pacer like the daemon's, and how late each one was, in nanoseconds."""

    late_ns: list[int] = field(default_factory=list)

    @contextlib.contextmanager
    def going(self) -> Iterator[None]:
        """Send, on and on."""
        clock, turns = RealClock(), list[Turn]()

        def fire(number: int) -> None:
            turn = turns[number]
            assert turn.due_ns is not None
            self.late_ns.append(clock.now_ns() - (turn.due_ns - turn.interval_ns))  # its next time is set by now

        for number, share in enumerate(spread((), TURNS)):
            turns.append(Turn(partial(fire, number), "fibre", share, EVERY_NS, EVERY_NS))
        pacer = Pacer(clock)
        pacer.add(turns)
        try:
            yield
        finally:
            pacer.close()

    def late_ms(self, share: float) -> float:
        """Return how late this share of the sends was at most."""
        return sorted(self.late_ns)[int(share * (len(self.late_ns) - 1))] / 1e6


class Crowd:
    """The other process; `tests.web.crowd` says what it understands."""

    def __init__(self, process: asyncio.subprocess.Process) -> None:
        self._process = process

    async def do(self, what: str) -> dict[str, int]:
        """Let it do something; return what has come of all so far."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(f"{what}\n".encode())
        found: dict[str, int] = json.loads(await self._process.stdout.readline())
        return found


@contextlib.asynccontextmanager
async def crowded(folder: Path) -> AsyncIterator[tuple[web.Application, Crowd]]:
    """Serve an office's pages from a process in the condition that the daemon's is in, and let a crowd come."""
    with _many_files(), _settled():
        app = make_app(Metrics("s", "1").registry, troubled_office(folder))
        runner = await serve(app, "127.0.0.1", 0)
        process = await asyncio.create_subprocess_exec(
            sys.executable, "-m", "tests.web.crowd", str(runner.addresses[0][1]),
            cwd=ROOT, stdin=asyncio.subprocess.PIPE, stdout=asyncio.subprocess.PIPE,
        )  # fmt: skip
        try:
            yield app, Crowd(process)
        finally:
            process.kill()
            await process.wait()
            await runner.cleanup()


@contextlib.contextmanager
def _many_files() -> Iterator[None]:
    """Let this process, and those that it starts, open as many files as the unit lets the daemon."""
    before, most = resource.getrlimit(resource.RLIMIT_NOFILE)
    resource.setrlimit(resource.RLIMIT_NOFILE, (min(4096, most), most))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_NOFILE, (before, most))


@contextlib.contextmanager
def _settled() -> Iterator[None]:
    """Keep the collector from walking over what was there before, as the daemon does."""
    gc.collect()
    gc.freeze()
    try:
        yield
    finally:
        gc.unfreeze()
