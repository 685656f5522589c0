"""A whole test against a reflector on loopback: both directions, the probes beside them, and one test at a time."""

import asyncio
import json
import os
import subprocess
import sys
from collections.abc import AsyncIterator
from pathlib import Path

import pytest
import trustme
from click.testing import CliRunner

from wanwatch.cli import main
from wanwatch.clock import RealClock
from wanwatch.config import Config, load
from wanwatch.core.account.speed import Mark
from wanwatch.core.account.speed_result import Direction, Ending, Run
from wanwatch.core.model import MeasurementKind, Pin
from wanwatch.measure.speed import Asked, BusyError, SpeedError, helper, run_speed_test, turn
from wanwatch.measure.speed.job import Job
from wanwatch.measure.speed.turn import LOCK_NAME
from wanwatch.reflector import SpeedServer, read_certificate
from wanwatch.store import SqliteRecord

TOKEN = "a-token-for-tests"  # noqa: S105 - a test's own
SHORT = Asked(seconds=1, connections=2)


@pytest.fixture
async def port(tmp_path: Path) -> AsyncIterator[int]:
    """A reflector's speed far end with TLS, on loopback."""
    authority = trustme.CA()
    authority.cert_pem.write_to_path(str(tmp_path / "ca.pem"))
    authority.issue_cert("127.0.0.1").private_key_and_cert_chain_pem.write_to_path(str(tmp_path / "both.pem"))
    server = SpeedServer(TOKEN)
    await server.start("127.0.0.1", 0, read_certificate(tmp_path / "both.pem", tmp_path / "both.pem"))
    try:
        yield server.port
    finally:
        server.close()
        await asyncio.sleep(0.05)


def configured(folder: Path, server: str, more: str = 'most = "200 MB"') -> Config:
    """A configuration that tests against *server*."""
    (folder / "token").write_text(TOKEN)
    (folder / "token").chmod(0o600)
    (folder / "wanwatch.toml").write_text(
        '[site]\nname = "harbour-lane"\ndata_dir = "data"\nauthorities = "ca.pem"\n'
        '[[uplink]]\nname = "fibre"\npin = { source = "127.0.0.1" }\nhandoff = { link_mbps = 1000 }\n'
        '[[target]]\nname = "near"\necho = "127.0.0.1"\n'
        f'[speed]\nserver = "{server}"\ntoken_file = "token"\n{more}\n'
    )
    return load(folder / "wanwatch.toml", {})


async def test_a_test_through_tls_measures_both_ways_and_the_delay_beside_them(tmp_path: Path, port: int) -> None:
    """Each direction has goodput, spread, probes before and during, and what TCP says; the cap ends it early."""
    config = configured(tmp_path, f"https://127.0.0.1:{port}")
    heard: list[tuple[Direction, Mark]] = []
    result = await run_speed_test(
        config, "fibre", RealClock(), asked=SHORT, tell=lambda way, mark: heard.append((way, mark))
    )
    assert [run.direction for run in result.runs] == [Direction.DOWN, Direction.UP]
    for run in result.runs:
        assert run.ending in (Ending.DONE, Ending.CAPPED), run.why
        assert run.tls
        assert run.ip == 4
        assert 0 < run.used_bytes < 201_000_000
        assert run.idle is not None
        assert run.idle.kind == "http"  # nobody answers STAMP here
        assert run.idle.lost == 0
        assert run.tcp is not None
        assert run.tcp.timestamps
        assert any(way is run.direction for way, _ in heard)
    down = result.runs[0].tcp
    assert down is not None
    assert down.efficiency is not None  # the reflector tells what it had to send again
    assert 0.5 < down.efficiency <= 1
    told = json.loads(json.dumps(result.to_json()))
    assert told["site"] == "harbour-lane"
    assert TOKEN not in json.dumps(told)
    facts = {"asked", "data_bytes", "unfinished", "skipped"}
    assert set(told) == {"site", "uplink", "at", "server", "down", "up"} | facts
    assert told["data_bytes"] > sum(run.used_bytes for run in result.runs)


async def test_a_wrong_token_is_the_far_ends_refusal(tmp_path: Path, port: int) -> None:
    """RFC 6750 section 3.1: 401 is an ending, and the other direction is tried all the same."""
    config = configured(tmp_path, f"https://127.0.0.1:{port}/")
    assert config.speed is not None
    (tmp_path / "token").write_text("another")
    result = await run_speed_test(load(tmp_path / "wanwatch.toml", {}), "fibre", RealClock(), asked=SHORT)
    down, up = result.runs
    assert (down.ending, down.why, down.goodput, down.counts) == (Ending.HTTP_STATUS, "status 401", None, False)
    # Through TLS a far end cannot end its own half, so our bytes may meet a closed door before we read its answer.
    assert up.ending in (Ending.HTTP_STATUS, Ending.RESET)


async def test_a_certificate_of_a_stranger_is_told(tmp_path: Path, port: int) -> None:
    """RFC 5280: who is not vouched for is not talked to."""
    configured(tmp_path, f"https://127.0.0.1:{port}/")
    trustme.CA().cert_pem.write_to_path(str(tmp_path / "ca.pem"))
    result = await run_speed_test(load(tmp_path / "wanwatch.toml", {}), "fibre", RealClock(), asked=SHORT)
    assert {run.ending for run in result.runs} == {Ending.TLS}
    assert "certificate" in result.runs[0].why


async def test_a_name_without_resolvers_is_an_ending(tmp_path: Path, port: int) -> None:
    """Names are asked of the uplink's own resolvers, through it, or not at all."""
    config = configured(tmp_path, f"https://speed.example.net:{port}/")
    result = await run_speed_test(config, "fibre", RealClock(), asked=SHORT)
    assert result.runs[0] == Run(
        direction=Direction.DOWN, ending=Ending.NO_NAME, why="no resolvers are configured for it"
    )


async def test_two_tests_of_one_site_cannot_run_at_once(tmp_path: Path, port: int) -> None:
    """They would share what they measure; the second is refused, by whom is told, and a killed one frees its turn."""
    config = configured(tmp_path, f"https://127.0.0.1:{port}/")
    folder = config.site.data_dir
    code = (
        "from pathlib import Path\nfrom wanwatch.measure.speed import turn\n"
        f"with turn(Path({str(folder)!r})): print('in', flush=True); input()"
    )
    holder = await asyncio.create_subprocess_exec(
        sys.executable, "-c", code, stdin=subprocess.PIPE, stdout=subprocess.PIPE, env=os.environ
    )
    assert holder.stdout is not None
    assert await holder.stdout.readline() == b"in\n"
    with pytest.raises(BusyError, match=f"process {holder.pid} is at it") as refused:
        await run_speed_test(config, "fibre", RealClock(), asked=SHORT)
    assert refused.value.pid == holder.pid
    said = await asyncio.to_thread(
        CliRunner().invoke, main, ["speed", "fibre", "--config", str(tmp_path / "wanwatch.toml")]
    )
    assert said.exit_code == 3
    holder.kill()
    await holder.wait()
    with turn(folder), pytest.raises(BusyError), turn(folder):
        pass


def test_a_turn_that_cannot_be_had_is_told_with_its_mend(tmp_path: Path) -> None:
    """What, with which value, why, what to do."""
    (tmp_path / "file").write_text("")
    with pytest.raises(SpeedError, match=rf"'{tmp_path}/file/{LOCK_NAME}': Not a directory; check that site.data_dir"):
        turn(tmp_path / "file").__enter__()


async def test_a_process_that_dies_is_our_sides_trouble() -> None:
    """Could not measure is never a slow line."""
    job = Job(
        direction=Direction.DOWN, pin=Pin(), addresses=["127.0.0.1"], port=9, host="x", authority="x",
        path="/", tls=False, ca_file=None, token=None, connections=1, seconds=1, most_bytes=1,
    )  # fmt: skip
    dies = await helper.move(job, lambda _mark: None, command=[sys.executable, "-c", "raise SystemExit('no room')"])
    assert (dies.ending, dies.why) == (Ending.OUR_SIDE, "the process that moves the bytes failed: no room")
    raves = await helper.move(job, lambda _mark: None, command=[sys.executable, "-c", "print('hello')"])
    assert raves.ending is Ending.OUR_SIDE
    missing = await helper.move(job, lambda _mark: None, command=["/nowhere/at-all"])
    assert missing.why == "the process that moves the bytes does not start: No such file or directory"


async def test_the_command_prints_and_keeps_what_was_measured(tmp_path: Path, port: int) -> None:
    """The result is in the record, as the JSON that is printed."""
    config = configured(tmp_path, f"https://127.0.0.1:{port}/", 'most = "20 MB"')
    words = ["speed", "fibre", "--json", "--seconds", "1", "--direction", "down", "--config"]
    said = await asyncio.to_thread(CliRunner().invoke, main, [*words, str(tmp_path / "wanwatch.toml")])
    told = json.loads(said.stdout)
    assert told["down"]["ending"] == "capped"
    assert told["up"] is None
    with SqliteRecord(config.site.data_dir / "wanwatch.sqlite") as record:
        kept = record.measurements("harbour-lane", kind=MeasurementKind.SPEED)
    assert [(one.uplink, one.result) for one in kept] == [("fibre", told)]


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["speed", "copper"], "uplink 'copper': there is no such uplink; write one of fibre"),
        (["speed", "fibre"], "[speed]: it is not there, so nobody is named to test against; write speed.server"),
    ],
)
def test_a_test_that_cannot_be_is_told_with_its_mend(tmp_path: Path, words: list[str], told: str) -> None:
    """Exit code 2, before anything is sent."""
    (tmp_path / "wanwatch.toml").write_text(
        '[site]\nname = "x"\ndata_dir = "data"\n[[uplink]]\nname = "fibre"\npin = { dscp = 1 }\n'
        '[[target]]\nname = "near"\necho = "192.0.2.1"\n'
    )
    said = CliRunner().invoke(main, [*words, "--config", str(tmp_path / "wanwatch.toml")])
    assert (said.exit_code, said.stderr) == (2, f"wanwatch: {told}\n")
