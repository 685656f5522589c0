"""The reflector's unit file takes away what is not needed, and nothing that is."""

import shlex
import shutil
import subprocess
from pathlib import Path

import click
import pytest

from wanwatch.cli import main

UNITS = Path(__file__).parents[2] / "deploy" / "systemd"
UNIT = UNITS / "wanwatch-reflector.service"


def lines(unit: Path) -> list[tuple[str, str]]:
    """The settings of a unit in order."""
    said = [line.partition("=") for line in unit.read_text("utf-8").splitlines() if line[:1].isalpha()]
    return [(key, value) for key, _, value in said]


def test_it_holds_no_capability_and_its_ports_need_none() -> None:
    """An empty setting is an empty set (systemd.exec(5)); ports below 1024 would need CAP_NET_BIND_SERVICE."""
    said = dict(lines(UNIT))
    assert said["CapabilityBoundingSet"] == said["AmbientCapabilities"] == ""
    words = shlex.split(said["ExecStart"])[2:]
    command = main.commands["reflector"]
    given = command.make_context("reflector", words).params
    assert all(given[port] >= 1024 for port in ("stamp_port", "stun_port", "speed_port"))
    assert isinstance(command, click.Command)


@pytest.mark.parametrize("unit", sorted(UNITS.glob("*.service")), ids=lambda unit: unit.name)
def test_what_speaks_stamp_may_read_how_far_its_clock_is_off(unit: Path) -> None:
    """adjtimex(2) is not of @system-service, and ProtectClock= forbids it: a unit without it would be killed."""
    said = lines(unit)
    filters = [value for key, value in said if key == "SystemCallFilter"]
    # systemd.exec(5): read in order, a later line adds to or takes from the former; @privileged holds these two.
    assert {"adjtimex", "clock_adjtime"} <= set(filters[-1].split())
    assert "ProtectClock" not in dict(said)


@pytest.mark.parametrize("unit", sorted(UNITS.glob("*.service")), ids=lambda unit: unit.name)
def test_systemd_understands_every_line(unit: Path, tmp_path: Path) -> None:
    """`systemd-analyze verify` names what it does not know; the program itself is not installed here."""
    if shutil.which("systemd-analyze") is None:
        pytest.skip("systemd-analyze is missing")
    text = unit.read_text("utf-8").replace("/opt/wanwatch/venv/bin/wanwatch", "/bin/true")
    (tmp_path / unit.name).write_text(text)
    said = subprocess.run(
        ("systemd-analyze", "verify", "--man=no", str(tmp_path / unit.name)),
        check=False,
        capture_output=True,
        text=True,
    )
    assert [line for line in said.stderr.splitlines() if unit.name in line] == []
