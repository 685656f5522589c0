"""Processes of our own: work that must not hold up the event loop that asks for it."""

import asyncio
import contextlib
import os
from collections.abc import Sequence
from pathlib import Path
from typing import Final

_ROOT: Final = str(Path(__file__).parents[1])
"""Where this very program is imported from: the process must not be another version of it."""
_LINE_BYTES: Final = 1 << 16
"""asyncio's own limit of a line."""


async def start(
    command: Sequence[str], *, stdin: int | None = None, line_bytes: int = _LINE_BYTES
) -> asyncio.subprocess.Process:
    """Start a process of this very program, its output and its errors in pipes.

    Args:
        command: What to start.
        stdin: `asyncio.subprocess.PIPE` to write to it.
        line_bytes: The longest line that can be read of it.

    Raises:
        OSError: It does not start.
    """
    paths = filter(None, (_ROOT, os.environ.get("PYTHONPATH")))
    return await asyncio.create_subprocess_exec(
        *command, stdin=stdin, stdout=asyncio.subprocess.PIPE, stderr=asyncio.subprocess.PIPE, limit=line_bytes,
        env=os.environ | {"PYTHONPATH": os.pathsep.join(paths)},
    )  # fmt: skip


def _humble(pid: int) -> None:
    """Let a process be the last to run and the first to be ended for want of memory, rather than who started it.

    From its first moment on: what a command loads before it could ask for that itself takes a third of a second.

    Source: sched(7), SCHED_IDLE; proc_pid_oom_score_adj(5), which anyone may raise.
    """
    with contextlib.suppress(OSError):
        os.sched_setscheduler(pid, os.SCHED_IDLE, os.sched_param(0))
    with contextlib.suppress(OSError):
        Path(f"/proc/{pid}/oom_score_adj").write_text("1000", "ascii")


async def end(process: asyncio.subprocess.Process) -> None:
    """Leave no process behind, also where we are cancelled."""
    with contextlib.suppress(ProcessLookupError):
        process.kill()
    await process.wait()


async def output_when_idle(command: Sequence[str], longest_s: float) -> tuple[bytes, str | None]:
    """Let a command run to its end that gives way to all others; end it after *longest_s*.

    It has a processor while nothing else wants one (SCHED_IDLE), and memory until that runs out.

    Returns:
        What it wrote, and why it failed; None where it did not.
    """
    try:
        process = await start(command)
    except OSError as error:
        return b"", error.strerror or str(error)
    _humble(process.pid)
    try:
        async with asyncio.timeout(longest_s):
            said, grumbled = await process.communicate()
    except TimeoutError:
        return b"", "the machine was never idle for long enough"
    finally:
        await end(process)
    return said, last_line(grumbled, f"exit code {process.returncode}") if process.returncode else None


def last_line(grumbled: bytes, otherwise: str) -> str:
    """Return the last line of what a process said, which tells why it failed; *otherwise* where it said nothing."""
    lines = grumbled.decode(errors="replace").strip().splitlines()
    return lines[-1] if lines else otherwise
