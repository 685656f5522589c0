"""The program under test, on the lab's mini PC: its configuration, its process, and what it says."""

import json
import signal
import sqlite3
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

from tests.lab.enclosure import LabError, Process
from tests.lab.office import COPPER, FIBRE, NEXT_HOP, RESOLVER, STUN, TARGETS, TARGETS_V6, WEB, Office
from tests.lab.python import PYTHON, environment
from wanwatch.core.errors import WanwatchError
from wanwatch.core.event_json import event_to_json
from wanwatch.store import SqliteRecord

Told = dict[str, Any]
"""An event as `wanwatch events --json` prints it."""

SITE: Final = "harbour-lane"
QUICK: Final = 'up_after = "3s"\nwindow = "10s"\nclear_after = "10s"\nstuck_after = "6s"'
"""Judge settings for stories that need not wait as long as an office would."""
SOURCES: Final = {FIBRE: '["10.20.0.11", "2001:db8:1::11"]', COPPER: '["10.20.0.12", "2001:db8:2::12"]'}
RUN: Final = ("-m", "wanwatch", "run")
POLL_S: Final = 0.1
NAMES: Final = ("near", "far", "other")
ECHO: Final = tuple(f'echo = "{address}"' for address in TARGETS)
ECHO_V6: Final = tuple(f'echo = "{address}"' for address in TARGETS_V6)
MIXED: Final = (f'stamp = "{TARGETS[0]}"', f'tcp = "{WEB}:80"', f'http = "http://{WEB}/"')
"""Three targets: what is asked of each."""


def configuration(office: Office, judge: str = "", asked: tuple[str, ...] = ECHO) -> str:
    """The configuration of the lab's office, with these lines for the judge, and these targets.

    Without lines for the judge all settings are the defaults; with them names are asked for more often, too.
    """
    uplinks = "".join(
        f"""
[[uplink]]
name = "{line}"
pin = {{ {f'interface = "{line}0"' if office.mini_pc_routes else f"source = {SOURCES[line]}"} }}
{"" if office.mini_pc_routes else 'gateway = "10.20.0.1"'}
first_hop = "{NEXT_HOP[line]}"
resolvers = ["{RESOLVER[line]}"]
"""
        for line in (FIBRE, COPPER)
    )
    targets = "".join(f'[[target]]\nname = "{name}"\n{how}\n' for name, how in zip(NAMES, asked, strict=True))
    servers = ", ".join(f'"{address}:3478"' for address in STUN)
    return f"""
[site]
name = "{SITE}"
timezone = "Europe/London"
data_dir = "{office.folder / "data"}"
{uplinks}
{targets}
[names]
ask = ["www.example.com"]
{'every = "2s"' if judge else ""}
[judge]
{judge}
[carrying]
stun = [{servers}]
connect = ["{WEB}:80"]
held = "{WEB}:7"
"""


class Watch:
    """The daemon on the mini PC, and the record that it keeps.

    Args:
        office: Where it runs.
        judge: Lines for the `[judge]` table of its configuration.
        asked: What is asked of each of three targets.
        program: What is run with the configuration's path as its argument.
    """

    def __init__(
        self, office: Office, judge: str = "", asked: tuple[str, ...] = ECHO, program: tuple[str, ...] = RUN
    ) -> None:
        self.office = office
        self.file = office.folder / "wanwatch.toml"
        self.file.write_text(configuration(office, judge, asked))
        (office.folder / "data").mkdir(exist_ok=True)
        self._program = program
        self._process: Process | None = None

    @property
    def process(self) -> Process:
        """The running daemon."""
        assert self._process is not None, "start it first"
        return self._process

    @property
    def log(self) -> Path:
        """What the daemon has said."""
        return self.office.folder / "daemon.log"

    def start(self, *, until_up: bool = True) -> None:
        """Start it, and wait until it answers; and, unless told not to, until it knows all of a quiet day.

        That is: every line is up, and which of them carries.
        """
        self._process = self.office.world.spawn(
            "pc", PYTHON, *self._program, str(self.file), log=self.log, env=environment()
        )
        self.until(lambda: bool(self.health()), "word from the daemon", 60)
        if until_up:
            self.until(lambda: set(self.states().values()) == {"up"}, "two lines up", 90)
            self.until(lambda: self.health()["carrying"]["known"] is True, "uplink known to carry", 60)

    def stop(self) -> None:
        """Stop it as a service manager does."""
        if self._process is not None and self._process.alive():
            self._process.signal(signal.SIGTERM)
            self._process.wait()

    def kill(self) -> None:
        """Kill it as a power cut does."""
        self.process.signal(signal.SIGKILL)
        self.process.wait()

    def health(self) -> Told:
        """What /health says; empty while nothing answers."""
        answer = self.office.world.run("pc", "curl", "-sf", "-m", "2", "http://127.0.0.1:9470/health")
        return {} if answer.returncode else dict(json.loads(answer.stdout))

    def states(self) -> dict[str, str]:
        """Each line's state, as /health says."""
        return {uplink["name"]: uplink["state"] for uplink in self.health().get("uplinks", [])}

    def events(self, kind: str | None = None, uplink: str | None = None) -> list[Told]:
        """What the record holds at this moment, of a kind and of an uplink."""
        try:
            with SqliteRecord(self.office.folder / "data" / "wanwatch.sqlite") as record:
                told = [event_to_json(event) for event in record.events(SITE)]
        except (WanwatchError, sqlite3.Error):
            return []  # not there yet
        return [event for event in told if kind in {None, event["kind"]} and uplink in {None, event["uplink"]}]

    def expect(self, kind: str, uplink: str | None = None, *, ended: bool = False, within_s: float = 60.0) -> Told:
        """Wait until the record holds such an event, or its end, and return it."""

        def found() -> list[Told]:
            return [event for event in self.events(kind, uplink) if event["end"] or not ended]

        self.until(lambda: bool(found()), f"{kind} of {uplink}{' ended' if ended else ''}", within_s)
        return found()[-1]

    def until(self, true: Callable[[], bool], what: str, within_s: float) -> None:
        """Wait until something holds of the daemon, and say what it said where it never does."""
        deadline = time.monotonic() + within_s
        while not true():
            come = time.monotonic() < deadline and self.process.alive()
            assert come, f"no {what} within {within_s} s; the daemon said:\n{self.log.read_text()[-3000:]}"
            time.sleep(POLL_S)

    def command(self, *words: str, codes: tuple[int, ...] = (0,)) -> str:
        """Run one of the program's commands on the mini PC and return what it printed."""
        done = self.office.world.run(
            "pc", PYTHON, "-m", "wanwatch", *words, "--config", str(self.file), env=environment()
        )
        if done.returncode not in codes:
            raise LabError(done.stderr + done.stdout, by=f"wanwatch {' '.join(words)} ended with {done.returncode}")
        return done.stdout
