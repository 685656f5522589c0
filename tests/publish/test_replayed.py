"""What `wanwatch replay` shows of a record."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from tests.fakes.clock import FakeClock
from wanwatch.cli import main
from wanwatch.core.model import NS_PER_S, Kind, Outcome, Role, Sample, Series
from wanwatch.store import SqliteKeeper

CONFIGURATION = """
[site]
name = "harbour-lane"
timezone = "Europe/London"
data_dir = "{folder}"
[[uplink]]
name = "fibre"
pin = {{ interface = "eth0" }}
[uplink.contract]
provider = "Example Fibre"
starts = 2026-11-01
clause = [
  {{ measure = "availability", at_least = "98%" }},
  {{ measure = "delay", target = "near", statistic = "p95", at_most = "15ms" }},
]
[[target]]
name = "near"
echo = "192.0.2.1"
[[target]]
name = "far"
echo = "192.0.2.2"
[names]
ask = ["www.example.com"]
"""
SILENT_S = range(120, 128)
SINCE, UNTIL = "2026-11-03T09:00:00Z", "2026-11-03T11:00:00Z"


@pytest.fixture
async def file(tmp_path: Path) -> Path:
    """The configuration of a site whose one line was silent for eight seconds, and whose record holds that."""
    clock = FakeClock()
    keeper = SqliteKeeper(tmp_path / "wanwatch.sqlite", "harbour-lane", clock, tell_trouble=print)
    keeper.open()
    for second in range(300):
        for target in ("near", "far"):
            silent = second in SILENT_S
            outcome, rtt_ns = (Outcome.LOST, None) if silent else (Outcome.ANSWERED, 9_000_000)
            series = Series("fibre", target, Kind.ECHO, Role.LINE)
            keeper.sample(Sample(series, clock.now_ns(), clock.now_unix_ns(), clock.now_ns(), outcome, rtt_ns))
        clock.advance(1.0)
        if second % 9 == 0:
            assert await keeper.flush()
    await keeper.close()
    config = tmp_path / "wanwatch.toml"
    config.write_text(CONFIGURATION.format(folder=tmp_path))
    return config


def shown(file: Path, *words: str) -> str:
    """What the command prints."""
    done = CliRunner().invoke(main, ["replay", "--config", str(file), *words])
    assert done.exit_code == 0, done.output
    return done.output


def test_settings_and_outcomes_stand_side_by_side(file: Path) -> None:
    """One row a setting and line; the silence is an outage for the patient for less than it lasted."""
    text = shown(file, "--since", SINCE, "--until", UNTIL, "--compare", "2s,5s,20s")
    rows = [line.split("  ") for line in text.splitlines() if "fibre" in line]
    found = {words[0]: [word.strip() for word in words[1:] if word] for words in rows}
    assert found["down_after 2s"][:3] == ["fibre", "1", "8.0 s"]
    assert found["down_after 5s"][:3] == ["fibre", "1", "8.0 s"]
    assert found["down_after 20s"][:3] == ["fibre", "0", "-"]
    assert found["as recorded"][:2] == ["fibre", "0"]


def test_each_setting_has_the_verdicts_that_its_events_would_have_led_to(file: Path) -> None:
    """Eight silent seconds of 300 break 98 %, unless the judge is so patient that they are no outage."""
    words = ("--since", SINCE, "--until", UNTIL, "--compare", "2s,20s")
    text = shown(file, *words)
    head, kept, quick = (
        [word.strip() for word in line.split("  ") if word.strip()]
        for line in text.splitlines()
        if line.startswith("line ") or "at least 98%" in line or "at most 15 ms" in line
    )
    assert head == ["line", "promise", "as recorded", "down_after 2s", "down_after 20s"]
    assert kept == ["fibre", "availability at least 98%", "met", "breached", "met"]
    assert quick[2:] == ["met", "met", "met"]
    told = json.loads(shown(file, *words, "--json"))
    assert [row["clauses"][0]["verdict"] for row in told["rows"]] == ["met", "breached", "met"]
    assert "as if it were the whole month" in text


def test_one_setting_lists_its_events(file: Path) -> None:
    """What would have been an outage, with its instants in the site's own time."""
    text = shown(file, "--since", SINCE, "--until", UNTIL)
    assert "2026-11-03 10:02:00+00:00" in text
    assert "600 samples were judged again." in text


def test_what_the_record_does_not_hold_is_said_and_not_guessed(file: Path) -> None:
    """Without a word of STUN servers or the kernel there are no switches to count: a question mark, not a nought."""
    text = shown(file, "--since", SINCE, "--until", UNTIL)
    assert "switches cannot be judged again" in text
    assert ["as configured", "?", "?", "?", "?"] in [
        [word.strip() for word in line.split("  ") if word.strip()] for line in text.splitlines()
    ]


def test_json_holds_each_setting_with_its_tally_and_events(file: Path) -> None:
    """For other programs."""
    told = json.loads(shown(file, "--since", SINCE, "--until", UNTIL, "--down-after", "3s", "--json"))
    assert told["samples"] == 600
    recorded, tried = told["rows"]
    assert recorded["settings"] is None
    assert tried["name"] == "down_after 3s"
    assert tried["settings"]["down_after_ns"] == 3 * NS_PER_S
    assert tried["tally"]["lines"] == [
        {"uplink": "fibre", "outages": 1, "down_s": 8.0, "impairments": 0, "impaired_s": 0.0, "names_failures": 0}
    ]
    assert [event["kind"] for event in tried["events"]] == ["outage"]


def test_a_time_that_nobody_watched_says_so(file: Path) -> None:
    """Nothing is made up of nothing."""
    assert shown(file, "--since", "2020-01-01", "--until", "2020-01-02") == "nothing was watched in that time\n"


def test_a_setting_that_cannot_be_read_is_a_mistake_of_usage(file: Path) -> None:
    """Exit code 2, and the word at fault."""
    for words in (["--down-after", "soon"], ["--compare", "2s,soon"]):
        done = CliRunner().invoke(main, ["replay", "--config", str(file), *words])
        assert done.exit_code == 2
        assert "'soon'" in done.output
