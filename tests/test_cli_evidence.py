"""The commands about single events, from the command line to the record."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from tests.fakes.clock import START_UNIX_NS, FakeClock
from wanwatch.cli import main
from wanwatch.core.model import NS_PER_S, Bounds, Event, EventKind, Kind, Outcome, Role, Sample, Series
from wanwatch.store import SqliteKeeper

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


async def record_an_outage(folder: Path) -> str:
    """Keep ten seconds of probes, of which those of seconds 4 to 6 are lost; return the id of the outage."""
    clock = FakeClock()
    keeper = SqliteKeeper(folder / "wanwatch.sqlite", "harbour-lane", clock, tell_trouble=print)
    keeper.open()
    near = Series("fibre", "near", Kind.ECHO, Role.LINE)
    for second in range(10):
        lost = 4 <= second < 7
        outcome, rtt_ns = (Outcome.LOST, None) if lost else (Outcome.ANSWERED, 8_000_000)
        keeper.sample(Sample(near, clock.now_ns(), clock.now_unix_ns(), clock.now_ns(), outcome, rtt_ns))
        clock.advance(1)
    start, end = (START_UNIX_NS + second * NS_PER_S for second in (4, 7))
    bounds = [Bounds(t, t - NS_PER_S, t) for t in (start, end)]
    outage = Event("outage-fibre-1", "harbour-lane", EventKind.OUTAGE, "fibre", bounds[0], end=bounds[1])
    assert await keeper.event(outage)
    assert await keeper.flush()
    await keeper.close()
    return outage.id


async def test_a_dossier_is_made_of_a_record_in_every_form(config: Path, tmp_path: Path) -> None:
    """From the file that the daemon wrote to a page, to JSON, and to a table of every probe."""
    outage = await record_an_outage(tmp_path / "record")
    page = tmp_path / "dossier.html"
    assert wanwatch(config, "dossier", outage, "--out", str(page)).exit_code == 0
    assert "was down for 3.0 s" in page.read_text("utf-8")
    assert json.loads(wanwatch(config, "dossier", outage, "--format", "json").stdout)["lasted_s"] == 3
    table = wanwatch(config, "dossier", outage, "--format", "csv").stdout.splitlines()
    assert [line.split(",")[5] for line in table[1:]] == ["answered"] * 4 + ["lost"] * 3 + ["answered"] * 3
    assert table[1] == "fibre,near,echo,line,2026-11-03T10:00:00.000000Z,answered,8000"


async def test_a_dossier_of_an_unknown_outage_is_told_with_the_nearest(config: Path, tmp_path: Path) -> None:
    """Bad usage is exit code 2, and nothing is written."""
    await record_an_outage(tmp_path / "record")
    done = wanwatch(config, "dossier", "outage-fibre-2", "--out", str(tmp_path / "dossier.html"))
    assert done.exit_code == 2
    assert done.stderr == (
        "wanwatch: event 'outage-fibre-2': no event has this id; nearest: outage-fibre-1; all are listed by:"
        " wanwatch events --kind outage\n"
    )
    assert not (tmp_path / "dossier.html").exists()


async def test_events_are_listed_as_incidents(config: Path, tmp_path: Path) -> None:
    """As text, as one JSON array, and those of a kind only."""
    outage = await record_an_outage(tmp_path / "record")
    shown = wanwatch(config, "events", "--incidents").stdout
    assert shown.splitlines()[0].endswith(f"incident-{outage}")
    assert "fibre was down for 3.0 s" in shown
    (told,) = json.loads(wanwatch(config, "events", "--incidents", "--kind", "outage", "--json").stdout)
    assert (told["id"], [event["id"] for event in told["events"]]) == (f"incident-{outage}", [outage])
    assert wanwatch(config, "events", "--incidents", "--kind", "flapping").stdout == "no incidents\n"
