"""A real daemon that watches the demo's office on loopback."""

import contextlib
import socket
import time
from collections.abc import AsyncIterator
from pathlib import Path

from wanwatch.config import load
from wanwatch.core.model import Effect, State, StateChanged
from wanwatch.daemon import Daemon
from wanwatch.demo import configuration
from wanwatch.demo.office import QUIET
from wanwatch.demo.roads import Roads
from wanwatch.demo.servers import Place, free_place, serving


@contextlib.asynccontextmanager
async def watched(folder: Path, extra: str = "") -> AsyncIterator[tuple[Daemon, Roads, dict[str, float]]]:
    """Run a daemon there; yield it, the office's roads, and when it concluded that a line is down, by the line.

    Args:
        folder: Where its configuration and its record are.
        extra: Lines for the end of its configuration, which is the table `listen`.
    """
    down_at: dict[str, float] = {}

    def hear(effect: Effect) -> None:
        if isinstance(effect, StateChanged) and effect.state is State.DOWN:
            down_at[effect.uplink] = time.monotonic()

    roads = Roads(QUIET, chance=lambda: 0.5)
    async with serving(roads) as places:
        pages = free_place(Place("127.0.0.1", 9470), socket.SOCK_STREAM)
        path = configuration.write(folder, places, str(pages))
        path.write_text(path.read_text("utf-8").replace('down_after = "2s"', 'down_after = "600ms"') + extra, "utf-8")
        daemon = Daemon(load(path), path=path, on_effect=hear)
        await daemon.start()
        try:
            yield daemon, roads, down_at
        finally:
            await daemon.stop()
