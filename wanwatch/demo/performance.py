"""The demo from its first line to its last: servers, daemon, story, comparison, reports."""

import asyncio
import os
import random
import shutil
import signal
import socket
import sys
import time
from collections.abc import Coroutine
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import get_context
from pathlib import Path
from typing import Any, Final

from wanwatch.config import Config, load
from wanwatch.config.plan import store_path
from wanwatch.core.errors import WanwatchError
from wanwatch.core.model import Span
from wanwatch.daemon import Daemon
from wanwatch.demo import configuration, reports
from wanwatch.demo.comparison import compare
from wanwatch.demo.office import LINES, QUIET
from wanwatch.demo.roads import Roads
from wanwatch.demo.servers import Place, Places, free_place, serving
from wanwatch.demo.stage import Stage
from wanwatch.demo.story import STORY, TRUTHS
from wanwatch.demo.terminal import comparison_table
from wanwatch.publish.terminal import Terminal, Tone
from wanwatch.store import SqliteRecord

DONE: Final = 0
DOES_NOT_AGREE: Final = 1
STOPPED_EARLY: Final = 3  # could not measure
_PAGES: Final = Place("127.0.0.1", 9470)
_FALLBACK_COLUMNS: Final = 100


class DemoError(WanwatchError):
    """The demo has no folder to write to."""

    def __init__(self, folder: Path, error: OSError) -> None:
        self.folder = folder
        super().__init__(f"demo: cannot write into {folder}: {error.strerror}; give another folder with --out")


def play(folder: Path, *, once: bool, history: bool) -> int:
    """Play the demo on this machine's loopback addresses.

    Args:
        folder: Where configuration, record and reports are written; made if it is not there.
        once: End after the story, instead of staying up until Ctrl-C.
        history: Also report on a generated month.

    Returns:
        0 if the daemon told what the story did, 1 if it did not, 3 if it was stopped before it could say.

    Raises:
        DemoError: The folder cannot be written to.
        WanwatchError: Another daemon has the record there.
    """
    terminal = Terminal(sys.stdout, os.environ, shutil.get_terminal_size((_FALLBACK_COLUMNS, 0)).columns)

    async def perform() -> int:
        return await _Performance(folder, terminal).run(once=once, history=history)

    return asyncio.run(perform())


class _Performance:
    """One run of the demo; made inside the event loop that it runs in."""

    def __init__(self, folder: Path, terminal: Terminal) -> None:
        self._folder, self._terminal = folder, terminal
        self._roads = Roads(QUIET, random.random)
        self._stage = Stage(terminal, self._roads)
        self._leave = asyncio.Event()

    async def run(self, *, once: bool, history: bool) -> int:
        """Return the exit code."""
        for number in (signal.SIGINT, signal.SIGTERM):
            asyncio.get_running_loop().add_signal_handler(number, self._leave.set)
        async with serving(self._roads) as places:
            path = self._configure(places)
            config = load(path)
            daemon = Daemon(config, path=path, on_effect=self._stage.hear)
            self._introduce(path)
            await daemon.start()
            try:
                return await self._perform(config, path, daemon.address, once=once, history=history)
            finally:
                await daemon.stop()

    async def _perform(self, config: Config, path: Path, address: str, *, once: bool, history: bool) -> int:
        if not await _unless(self._leave, self._stage.play(STORY)):
            self._terminal.line("stopped before the story's end: nothing to compare, no report")
            return STOPPED_EARLY
        agrees = self._compare(config)
        if not await self._report(path, history=history):
            self._terminal.line("  not written: the process that makes it has ended")
            return STOPPED_EARLY
        self._leave_word(address)
        if not once:
            self._terminal.line()
            self._terminal.line("The daemon goes on watching. Ctrl-C ends it.")
            await self._leave.wait()
        return DONE if agrees else DOES_NOT_AGREE

    def _configure(self, places: Places) -> Path:
        try:
            (self._folder / "record").mkdir(parents=True, exist_ok=True)
            return configuration.write(self._folder, places, str(free_place(_PAGES, socket.SOCK_STREAM)))
        except OSError as error:
            raise DemoError(self._folder, error) from error

    def _introduce(self, path: Path) -> None:
        say, faint = self._terminal.line, Tone.FAINT
        say(self._terminal.paint("wanwatch demo: an office with two lines, one of which will be cut", Tone.STRONG))
        say()
        for line in LINES:
            say(f"  {line.name:<8}  leaves from {line.source}, is seen far away as {line.seen_as}")
        say("  traffic   goes where the office's gateway sends it: fibre, while it works")
        say()
        say("The office and its lines are simulated on this machine's loopback addresses;")
        say("the daemon, its probes and its record are real, and run with this configuration:")
        say(f"  {path}")
        say()
        say(self._terminal.paint(f"{'second':>6}  {'who':<8}  what happens, and what wanwatch makes of it", faint))

    def _compare(self, config: Config) -> bool:
        """Set what the record tells against what the story did; True if they agree."""
        instants = self._stage.instants
        played = Span(min(instants.values()), max(instants.values()))
        with SqliteRecord(store_path(config)) as record:
            rows = compare(TRUTHS, instants, record.events(config.site.name, played))
        agrees = not any(row.fault for row in rows)
        head, *lines = comparison_table(rows)
        self._terminal.heading("What happened, and how far off what wanwatch recorded is")
        self._terminal.line(f"  {self._terminal.paint(head, Tone.FAINT)}")
        for line, row in zip(lines, rows, strict=True):
            self._terminal.line(f"  {self._terminal.paint(line, Tone.BAD if row.fault else Tone.PLAIN)}")
            if row.fault:
                self._terminal.line(f"    {self._terminal.paint(row.fault, Tone.BAD)}")
        if not agrees:
            self._terminal.line("  If this machine was busy, answers came too late: try again while it is not.")
        return agrees

    async def _report(self, path: Path, *, history: bool) -> bool:
        """Write the reports in a process of their own; False if that was ended, as Ctrl-C in a terminal does."""
        told = [("Report of this month", reports.of_story)]
        if history:
            told.append(("Report of a generated month, in which nothing is real", reports.of_generated_month))
        loop = asyncio.get_running_loop()
        with ProcessPoolExecutor(1, get_context("spawn"), signal.signal, (signal.SIGINT, signal.SIG_DFL)) as pool:
            for title, make in told:
                self._terminal.heading(title)
                try:
                    files = await loop.run_in_executor(pool, make, path, self._folder, time.time_ns())
                except BrokenProcessPool:
                    return False
                for file in files:
                    self._terminal.line(f"  {file}")
        return True

    def _leave_word(self, address: str) -> None:
        self._terminal.heading("The daemon's own pages")
        self._terminal.line(f"  status   {address}/")
        self._terminal.line(f"  metrics  {address}/metrics")


async def _unless(leave: asyncio.Event, doing: Coroutine[Any, Any, None]) -> bool:
    """Do something to its end; False if *leave* came first."""
    tasks = asyncio.create_task(doing), asyncio.create_task(leave.wait())
    done, left = await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
    for task in left:
        task.cancel()
    await asyncio.gather(*left, return_exceptions=True)
    for task in done:
        task.result()
    return tasks[0] in done
