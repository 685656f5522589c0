"""The daemon lets each month be written once, by a process of its own, and tells what came of it."""

import logging
import sys
from pathlib import Path

import pytest

from tests.fakes.clock import FakeClock
from tests.fakes.configured import config
from tests.fakes.month import PERIOD
from wanwatch.core.model import NS_PER_S
from wanwatch.daemon.reports import COMMAND, Reports

FIRST = PERIOD.end_unix_ns + 1200 * NS_PER_S


def reports(folder: Path, script: str, clock: FakeClock, **report: object) -> Reports:
    """The daemon's part, with a command that appends its argument to a file, and does what *script* says."""
    noted = f"import sys; open({str(folder / 'runs')!r}, 'a').write(sys.argv[1] + chr(10)); {script}"
    made = config(folder, **report)
    return Reports(folder / "wanwatch.toml", lambda: made, clock, (sys.executable, "-c", noted))


def runs(folder: Path) -> int:
    """How often the command was run, each time with the configuration's path."""
    path = folder / "runs"
    told = path.read_text("utf-8").splitlines() if path.exists() else []
    assert set(told) <= {str(folder / "wanwatch.toml")}
    return len(told)


async def test_each_month_is_written_once(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """Hour after hour nothing more is done, until another month is over."""
    caplog.set_level(logging.INFO, "wanwatch")
    clock = FakeClock(FIRST)
    under_test = reports(tmp_path, "print('reports/2026-10.html')", clock)
    await under_test.look()
    await under_test.look()
    assert runs(tmp_path) == 1
    assert [entry.getMessage() for entry in caplog.records] == ["wrote the report reports/2026-10.html"]
    clock.advance(31 * 86_400)
    await under_test.look()
    assert runs(tmp_path) == 2


async def test_what_failed_is_told_and_tried_again(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """The last words of the process are the reason."""
    under_test = reports(tmp_path, "sys.stderr.write('wanwatch: no such file\\n'); sys.exit(2)", FakeClock(FIRST))
    await under_test.look()
    await under_test.look()
    assert runs(tmp_path) == 2
    told = "the report of 2026-10 was not written: wanwatch: no such file"
    assert [entry.getMessage() for entry in caplog.records] == [told, told]


async def test_nothing_is_run_where_nothing_is_wanted(tmp_path: Path) -> None:
    """No forms, or a daemon without a file, as in the demo."""
    await reports(tmp_path, "", FakeClock(FIRST), monthly=[]).look()
    made = config(tmp_path)
    await Reports(None, lambda: made, FakeClock(FIRST), ("/nowhere",)).look()
    assert runs(tmp_path) == 0


async def test_a_command_that_cannot_be_started_is_told(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """The daemon goes on."""
    made = config(tmp_path)
    await Reports(tmp_path / "wanwatch.toml", lambda: made, FakeClock(FIRST), ("/nowhere",)).look()
    assert [entry.getMessage() for entry in caplog.records] == [
        "the report of 2026-10 was not written: No such file or directory"
    ]


async def test_the_real_command_writes_the_last_month(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """The process finds this very program, reads the configuration, and has nothing to tell without a record."""
    (tmp_path / "wanwatch.toml").write_text(
        """[site]
name = "harbour-lane"
data_dir = "."
[[uplink]]
name = "fibre"
pin = { interface = "eth1" }
[[target]]
name = "near"
echo = "192.0.2.1"
""",
        "utf-8",
    )
    made = config(tmp_path)
    await Reports(tmp_path / "wanwatch.toml", lambda: made, FakeClock(FIRST), COMMAND).look()
    (told,) = [entry.getMessage() for entry in caplog.records]
    assert told.startswith("the report of 2026-10 was not written: wanwatch: ")
    assert "no such file" in told
