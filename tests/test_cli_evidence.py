"""The commands about single events, from the command line to the record."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from wanwatch.cli import main

CONFIG = """
[site]
name = "harbour-lane"
timezone = "Europe/London"
data_dir = "{folder}"

[[uplink]]
name = "fibre"
pin = {{ source = "192.0.2.11" }}

[[target]]
name = "near"
echo = "192.0.2.1"
"""


@pytest.fixture
def config(tmp_path: Path) -> Path:
    """A small office's configuration; its record is not there yet."""
    path = tmp_path / "wanwatch.toml"
    path.write_text(CONFIG.format(folder=tmp_path / "record"), "utf-8")
    return path


def wanwatch(config: Path, *words: str) -> Result:
    return CliRunner().invoke(main, [*words, "--config", str(config)])


def add(config: Path, *more: str) -> Result:
    return wanwatch(config, "plan", "add", "--from", "+2h", "--to", "+4h", "--why", "splicing", *more)


def test_planned_work_is_added_listed_and_removed(config: Path) -> None:
    """What `add` keeps, `list` shows with the id that `remove` takes."""
    assert add(config, "--uplink", "fibre").exit_code == 0
    listed = json.loads(wanwatch(config, "plan", "list", "--json").stdout)
    assert [(one["uplink"], one["kind"], one["detail"]["why"]) for one in listed] == [
        ("fibre", "planned-work", "splicing")
    ]
    shown = wanwatch(config, "plan", "list").stdout
    assert "fibre: planned work for 2 h 00 min: splicing" in shown
    assert listed[0]["id"] in shown
    assert wanwatch(config, "plan", "remove", listed[0]["id"]).stdout == f"removed {listed[0]['id']}\n"
    assert wanwatch(config, "plan", "list").stdout == "no planned work\n"


def test_work_that_is_announced_already_is_not_announced_again(config: Path) -> None:
    """The first one stands, and it is said how to take it away."""
    words = ("plan", "add", "--from", "2100-01-01", "--to", "2100-01-02", "--why", "x")
    first = ("plan", "add", "--from", "1h", "--to", "+1h", "--why", "x", "--afterwards")
    assert wanwatch(config, *words).exit_code == 2  # more than a year from now
    assert wanwatch(config, *first).exit_code == 0
    taken = json.loads(wanwatch(config, "plan", "list", "--json").stdout)[0]
    again = wanwatch(config, "plan", "add", "--from", taken["start"], "--to", "+1h", "--why", "y", "--afterwards")
    assert again.exit_code == 2
    assert again.stderr == (
        f"wanwatch: --from '{taken['start']}': {taken['id']} begins then already; take it away first:"
        " wanwatch plan remove ID\n"
    )


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (
            ("plan", "remove", "x"),
            "wanwatch: ID 'x': there is no planned work of that id; see: wanwatch plan list\n",
        ),
        (
            ("plan", "add", "--from", "+2h", "--to", "+3h", "--why", "x", "--uplink", "copper"),
            "wanwatch: --uplink 'copper': there is no such uplink; take one of: fibre\n",
        ),
    ],
)
def test_a_mistake_is_told_and_changes_nothing(config: Path, words: tuple[str, ...], said: str) -> None:
    """Bad usage is exit code 2."""
    add(config)
    before = wanwatch(config, "plan", "list").stdout
    done = wanwatch(config, *words)
    assert (done.exit_code, done.stderr) == (2, said)
    assert wanwatch(config, "plan", "list").stdout == before
