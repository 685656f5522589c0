"""Signals: what the system asks of the daemon while it runs."""

import asyncio
import signal
from collections.abc import Callable, Coroutine


def obey(reload: Callable[[], Coroutine[None, None, None]]) -> asyncio.Event:
    """Let SIGHUP run *reload*, one after the other; return what SIGTERM and SIGINT set.

    To be called on the running event loop.
    """
    loop = asyncio.get_running_loop()
    leave, turn = asyncio.Event(), asyncio.Lock()
    reloads: set[asyncio.Task[None]] = set()

    async def in_turn() -> None:
        async with turn:
            await reload()

    def begin() -> None:
        task = asyncio.create_task(in_turn())
        reloads.add(task)
        task.add_done_callback(reloads.discard)

    for number in (signal.SIGTERM, signal.SIGINT):
        loop.add_signal_handler(number, leave.set)
    loop.add_signal_handler(signal.SIGHUP, begin)
    return leave
