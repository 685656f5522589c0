"""The daemon lets promises be reckoned by a process of its own, when it is worth it, and shows what came of it."""

import logging
import os
import sys
from pathlib import Path
from typing import Final

import pytest
from prometheus_client import CollectorRegistry

from tests.fakes.clock import START_UNIX_NS, FakeClock
from tests.publish.remote_write.hours import an_hour, at
from wanwatch.config import Config, load
from wanwatch.config.plan import store_path
from wanwatch.core.model import NS_PER_S, Event, EventKind, Tell
from wanwatch.daemon.tallying import COMMAND, FAILED_S, FIRST_S, OFTEN_S, SELDOM_S, Tallying
from wanwatch.publish.promises import PromiseFigures

FILE: Final = """
[site]
name = "harbour-lane"
data_dir = "data"
[[uplink]]
name = "fibre"
pin = { interface = "eth1" }
contract = { provider = "Example Fibre", clause = [{ measure = "availability", at_least = "99.99%" }] }
[[target]]
name = "near"
echo = "192.0.2.1"
"""
CLAUSE: Final = {
    "site": "harbour-lane", "uplink": "fibre", "measure": "availability", "clause": "availability at least 99.99%",
    "hours": "always",
}  # fmt: skip
MADE: Final = (
    'print(\'{"made_unix_ns": 1, "until_unix_ns": %d, "clauses": [{"uplink": "fibre", '
    '"clause": "availability at least 99.99%%", "value": 0.5, "met": false, "left_s": -3.0}], "cpu_s": 0}\')'
)
OUTAGE: Final = Event("o", "harbour-lane", EventKind.OUTAGE, "fibre", at(START_UNIX_NS), None)
UNTIL: Final = START_UNIX_NS + 86_400 * NS_PER_S


class Office:
    """The daemon's part, with a command that notes each run and does what *script* says, and a clock by hand."""

    def __init__(self, folder: Path, script: str, text: str = FILE) -> None:
        self.folder, self.clock, self.registry = folder, FakeClock(), CollectorRegistry()
        self.config = read(folder, text)
        self.figures = PromiseFigures("harbour-lane")
        self.registry.register(self.figures)
        noted = f"import sys; open({str(folder / 'runs')!r}, 'a').write(sys.argv[1] + chr(10))\n{script}"
        path, command = folder / "wanwatch.toml", (sys.executable, "-c", noted)
        self.tallying = Tallying(path, lambda: self.config, self.clock, self.figures, command)

    async def after(self, seconds: float) -> int:
        """How often the command has been run when so much time has passed."""
        self.clock.advance(seconds)
        await self.tallying.look()
        path = self.folder / "runs"
        told = path.read_text("utf-8").splitlines() if path.exists() else []
        assert set(told) <= {str(self.folder / "wanwatch.toml")}
        return len(told)

    def met(self) -> float | None:
        """What is shown of the only clause."""
        return self.registry.get_sample_value("wanwatch_clause_met", CLAUSE)


def read(folder: Path, text: str = FILE) -> Config:
    """The configuration, from its file."""
    (folder / "wanwatch.toml").write_text(text)
    return load(folder / "wanwatch.toml", {})


async def test_promises_are_reckoned_hourly(tmp_path: Path) -> None:
    """Soon after the start, and then once an hour."""
    office = Office(tmp_path, MADE % UNTIL)
    assert await office.after(0) == 0
    assert await office.after(FIRST_S) == 1
    assert office.met() == 0
    assert await office.after(SELDOM_S - 1) == 1
    assert await office.after(1) == 2


async def test_the_process_gives_way_to_all_others_from_its_start(tmp_path: Path) -> None:
    """sched(7): SCHED_IDLE runs when nothing else wants to. proc(5): who has 1000 is ended first for want of memory."""
    noted = tmp_path / "noted"
    ask = "(os.sched_getscheduler(0), int(open('/proc/self/oom_score_adj').read()))"
    wait = f"import os, time; time.sleep(0.2); open({str(noted)!r}, 'w').write(str({ask}))"
    assert await Office(tmp_path, f"{wait}; {MADE % UNTIL}").after(FIRST_S) == 1
    assert noted.read_text() == f"({os.SCHED_IDLE}, 1000)"


async def test_while_a_line_is_down_they_are_reckoned_often(tmp_path: Path) -> None:
    """And once more when it is back."""
    office = Office(tmp_path, MADE % UNTIL)
    assert await office.after(FIRST_S) == 1
    office.tallying.heed(Tell(OUTAGE))
    assert await office.after(OFTEN_S - 1) == 1
    assert await office.after(1) == 2
    assert await office.after(OFTEN_S) == 3
    office.tallying.heed(Tell(Event("o", "harbour-lane", EventKind.OUTAGE, "fibre", at(START_UNIX_NS), at(UNTIL))))
    assert await office.after(OFTEN_S) == 4
    assert await office.after(SELDOM_S - 1) == 4


async def test_a_new_month_and_a_new_clause_are_reckoned_at_once(tmp_path: Path) -> None:
    """Of neither is anything known."""
    office = Office(tmp_path, MADE % (START_UNIX_NS + 120 * NS_PER_S))
    assert await office.after(FIRST_S) == 1
    assert await office.after(90) == 1
    assert await office.after(10) == 2
    assert office.met() is None
    other = Office(tmp_path, MADE % UNTIL)
    assert await other.after(FIRST_S) == 3
    other.config = read(tmp_path, FILE.replace("99.99%", "99.9%"))
    assert await other.after(OFTEN_S) == 4


@pytest.mark.parametrize(
    ("script", "why"),
    [
        ("sys.stderr.write('wanwatch: no such file\\n'); sys.exit(2)", "wanwatch: no such file"),
        ("sys.exit(3)", "exit code 3"),
        ("print('{}')", "what was printed is no tally: KeyError('made_unix_ns')"),
    ],
)
async def test_what_fails_is_told_once_and_changes_nothing(
    tmp_path: Path, caplog: pytest.LogCaptureFixture, script: str, why: str
) -> None:
    """The old figures stay, with their age, and it is tried again after a while."""
    caplog.set_level(logging.INFO, "wanwatch")
    office = Office(
        tmp_path, f"if open({str(tmp_path / 'runs')!r}).read().count(chr(10)) > 1:\n  {script}\nelse:\n  {MADE % UNTIL}"
    )
    assert await office.after(FIRST_S) == 1
    assert await office.after(SELDOM_S) == 2
    office.tallying.heed(Tell(OUTAGE))
    assert await office.after(FAILED_S - 1) == 2
    assert await office.after(1) == 3
    told = f"promises were not reckoned, so what metrics say of them grows old: {why}"
    assert [entry.getMessage() for entry in caplog.records] == [told]
    assert office.met() == 0
    assert (
        office.registry.get_sample_value("wanwatch_accounts_made_timestamp_seconds", {"site": CLAUSE["site"]}) == 1e-9
    )


async def test_a_slow_reckoning_rests_twenty_times_as_long(tmp_path: Path) -> None:
    """A small machine over a year of samples is busy with it for a twentieth of the time at most.

    What counts is the processor's time: a process that gives way to all others may have to wait for long.
    """
    office = Office(tmp_path, (MADE % UNTIL).replace('"cpu_s": 0', '"cpu_s": 5'))
    office.tallying.heed(Tell(OUTAGE))
    assert await office.after(FIRST_S) == 1
    assert await office.after(99) == 1
    assert await office.after(1) == 2


async def test_without_clauses_nothing_is_run(tmp_path: Path) -> None:
    """Nor without a file, as in the demo."""
    office = Office(tmp_path, "", FILE.replace('{ measure = "availability", at_least = "99.99%" }', ""))
    assert await office.after(FIRST_S) == 0
    office.tallying._path, office.config = None, read(tmp_path)
    assert await office.after(SELDOM_S) == 0


async def test_the_real_command_reckons_as_the_report_does(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An hour of a real record with 150 s of outage; 99.99 % of November's 720 h in UTC are 259.2 s."""
    config = read(tmp_path, FILE)
    config.site.data_dir.mkdir()
    clock = await an_hour(store_path(config), START_UNIX_NS)
    monkeypatch.setenv("SOURCE_DATE_EPOCH", str(clock.now_unix_ns() // NS_PER_S))
    figures, registry = PromiseFigures("harbour-lane"), CollectorRegistry()
    registry.register(figures)
    tallying = Tallying(tmp_path / "wanwatch.toml", lambda: config, clock, figures, COMMAND)
    clock.advance(FIRST_S)
    await tallying.look()
    line = {"site": "harbour-lane", "uplink": "fibre"}
    left = registry.get_sample_value("wanwatch_downtime_allowance_remaining_seconds", line)
    assert left == pytest.approx(259.2 - 150)
    value = registry.get_sample_value("wanwatch_clause_value", CLAUSE)
    assert value == pytest.approx(1 - 150 / 3600, abs=0.001)
    assert registry.get_sample_value("wanwatch_clause_met", CLAUSE) is None
