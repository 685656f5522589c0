"""Our side of the process that moves the bytes: start it, hear its marks, and make sure that it ends."""

import asyncio
import contextlib
import sys
from collections.abc import Callable, Sequence
from typing import Final

from wanwatch.core.account.speed import MOST_WARM_UP_NS, Mark
from wanwatch.core.account.speed_result import Ending
from wanwatch.core.model import NS_PER_S
from wanwatch.measure.speed.job import Job, Transfer, dump, read_said
from wanwatch.measure.speed.lanes import PATIENCE_S
from wanwatch.process import end, last_line, start

COMMAND: Final = (sys.executable, "-P", "-m", "wanwatch.measure.speed")
_START_S: Final = 20.0
"""For the process to load, also on a slow and busy machine."""
_MOST_LINE_BYTES: Final = 1 << 20


async def move(job: Job, tell: Callable[[Mark], None], *, command: Sequence[str] = COMMAND) -> Transfer:
    """Run *job* in a process of its own; a process that does not start, end or make sense is `Ending.OUR_SIDE`.

    Args:
        job: What to run.
        tell: Called with each mark.
        command: What is started.
    """
    try:
        process = await start(command, stdin=asyncio.subprocess.PIPE, line_bytes=_MOST_LINE_BYTES)
    except OSError as error:
        return Transfer(
            ending=Ending.OUR_SIDE, why=f"the process that moves the bytes does not start: {error.strerror}"
        )
    grumbling = asyncio.ensure_future(process.stderr.read()) if process.stderr else None
    try:
        async with asyncio.timeout(_longest_s(job)):
            found = await _heard(process, job, tell)
            said = await grumbling if found is None and grumbling else b""
    except TimeoutError:
        return Transfer(ending=Ending.OUR_SIDE, why="the process that moves the bytes did not end")
    finally:
        await end(process)
        if grumbling:
            grumbling.cancel()
    return found or Transfer(
        ending=Ending.OUR_SIDE, why=f"the process that moves the bytes failed: {last_line(said, 'it said nothing')}"
    )


async def _heard(process: asyncio.subprocess.Process, job: Job, tell: Callable[[Mark], None]) -> Transfer | None:
    if process.stdin is None or process.stdout is None:
        return None
    with contextlib.suppress(ConnectionError, ValueError):  # it ended early, or a line has no end
        process.stdin.write(dump(job))
        await process.stdin.drain()
        while line := await process.stdout.readline():
            said = read_said(line)
            if isinstance(said, Transfer):
                return said
            if said is None:
                return None
            tell(said)
    return None


def _longest_s(job: Job) -> float:
    """Connecting, the first answer, warming up, measuring, and standing still at the end of each."""
    return _START_S + 4 * PATIENCE_S + MOST_WARM_UP_NS / NS_PER_S + job.seconds
