"""The stage: plays stories side by side, each in a lab of its own, and hands what came of each to its judges.

A story takes half a minute or more, nearly all of it waiting; so all stories whose judges were asked for begin
together, a few at a time, and a test waits for its own.
"""

import json
import shutil
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

import pytest

from tests.lab import servers
from tests.lab.enclosure import Process
from tests.lab.office import Office, Truth
from tests.lab.watch import ECHO, QUICK, RUN, Told, Watch

AT_ONCE: Final = 8
"""Stories played at a time: more would crowd two cores enough to bend the lines' delays."""
UNTIL: Final = "2100-01-01"
"""An end of time for `wanwatch events` that no stepped clock reaches."""


@dataclass(frozen=True)
class Lab:
    """What a story plays with."""

    office: Office
    watch: Watch
    servers: Mapping[str, Process]


@dataclass(frozen=True)
class Outcome:
    """What came of a story.

    Attributes:
        events: What `wanwatch events --json` printed at the end.
        marks: The true instants that the story noted.
        report: What `wanwatch report --format json` printed at the end.
        states: Each line's state at the end, as `wanwatch status --json` printed it.
        folder: Where the daemon's record still lies.
    """

    events: list[Told]
    marks: Mapping[str, Truth]
    report: Told
    states: Mapping[str, str]
    folder: Path

    def of(self, *kinds: str) -> list[Told]:
        """The events of these kinds, by start."""
        return [event for event in self.events if event["kind"] in kinds]

    def one(self, kind: str, uplink: str | None = None) -> Told:
        """The only event of a kind and an uplink."""
        found = [event for event in self.of(kind) if uplink in {None, event["uplink"]}]
        assert len(found) == 1, f"{len(found)} events are {kind} of {uplink}: {json.dumps(self.events, indent=1)}"
        return found[0]


@dataclass(frozen=True)
class Story:
    """A story, and the lab that it asks for.

    Attributes:
        play: Does to the lines what the story says, and returns the true instants of it.
        judge: Lines for the `[judge]` table.
        mini_pc_routes: In the office whose mini PC is the gateway.
        asked: What is asked of each of three targets.
        program: What is run as the daemon.
    """

    play: Callable[[Lab], Mapping[str, Truth]]
    judge: str = QUICK
    mini_pc_routes: bool = False
    asked: tuple[str, ...] = ECHO
    program: tuple[str, ...] = RUN

    @property
    def name(self) -> str:
        """Its name in words of a test's identifier."""
        return self.play.__name__

    def played(self, folder: Path) -> Outcome:
        """Build the lab, play, and ask the program's commands what it makes of it."""
        with Office(folder, mini_pc_routes=self.mini_pc_routes) as office:
            lab = Lab(office, Watch(office, self.judge, self.asked, self.program), servers.all_of(office))
            lab.watch.start()
            marks = self.play(lab)
            status = json.loads(lab.watch.command("status", "--json", codes=(0, 1)))  # 1: a line is not up
            states = {uplink["name"]: uplink["state"] for uplink in status["uplinks"]}
            lab.watch.stop()
            told = json.loads(lab.watch.command("events", "--json", "--until", UNTIL))
            report = json.loads(lab.watch.command("report", "--format", "json"))
            return Outcome(told, marks, report, states, folder)


@dataclass
class Stage:
    """The stories of one test run."""

    folder: Path
    pool: ThreadPoolExecutor
    playing: dict[tuple[str, int], Future[Outcome]] = field(default_factory=dict)

    def begin(self, story: Story, take: int = 1) -> Future[Outcome]:
        """Queue a story, once for each take, and return what will come of it."""
        if (story.name, take) not in self.playing:
            folder = self.folder / str(len(self.playing))  # a socket below it has at most 107 octets of path
            folder.mkdir()
            self.playing[story.name, take] = self.pool.submit(story.played, folder)
        return self.playing[story.name, take]


@contextmanager
def stage(folder: Path, stories: list[Story]) -> Iterator[Stage]:
    """Open the stage and begin every story; at the end stories that nobody waits for any more are called off."""
    pool = ThreadPoolExecutor(AT_ONCE)
    try:
        opened = Stage(folder, pool)
        for story in stories:
            opened.begin(story)
        yield opened
    finally:
        pool.shutdown(cancel_futures=True)


def require(*programs: str) -> None:
    """Skip a test where a program that it needs is not installed."""
    missing = [program for program in programs if shutil.which(program) is None]
    if missing:
        pytest.skip(f"not installed: {', '.join(missing)}")


def take_of(request: pytest.FixtureRequest) -> int:
    """Return which try of a test this is: 1, or 2 after it failed once."""
    return getattr(request.node, "execution_count", 1)  # pytest-rerunfailures counts there


def tells(story: Story) -> pytest.MarkDecorator:
    """Mark a test as a judge of *story*: its argument `outcome` is what came of it."""
    return pytest.mark.parametrize("outcome", [story], indirect=True, ids=[story.name])


def unix_s(instant: str) -> float:
    """An event's instant in seconds since 1970, UTC."""
    at = datetime.fromisoformat(instant)
    assert at.tzinfo is not None
    return at.astimezone(UTC).timestamp()
