"""What the system asks of the daemon while it runs."""

import asyncio
import os
import signal

from wanwatch.daemon.signals import obey


async def test_reloads_that_are_asked_for_at_once_are_one_after_the_other() -> None:
    """Two that overlap would leave behind what the one begins and the other has ended."""
    told: list[str] = []
    done = asyncio.Event()

    async def reload() -> None:
        told.append("begins")
        await asyncio.sleep(0.01)
        told.append("ends")
        if len(told) == 4:
            done.set()

    leave = obey(reload)
    try:
        for _ in range(2):
            os.kill(os.getpid(), signal.SIGHUP)
            await asyncio.sleep(0.002)  # signals that nobody has seen yet are one
        await asyncio.wait_for(done.wait(), 5)
        assert told == ["begins", "ends"] * 2
        assert not leave.is_set()
        os.kill(os.getpid(), signal.SIGTERM)
        await asyncio.wait_for(leave.wait(), 5)
    finally:
        for number in (signal.SIGHUP, signal.SIGTERM, signal.SIGINT):
            asyncio.get_running_loop().remove_signal_handler(number)
