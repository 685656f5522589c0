"""The whole daemon on loopback with a reflector: its speed tests are held off, kept, judged, counted and shown."""

import asyncio
import contextlib
import socket
import sys
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

import aiohttp
import pytest
from prometheus_client import generate_latest

from wanwatch.clock import RealClock
from wanwatch.config import Config, load
from wanwatch.config.plan import store_path
from wanwatch.config.testuse import most_bytes
from wanwatch.core.account.speed_result import SpeedResult
from wanwatch.core.manners import Reason
from wanwatch.core.model import NS_PER_S, Bounds, Event, EventKind, Measurement, MeasurementKind, Span, State
from wanwatch.core.ports import Clock
from wanwatch.daemon import Daemon
from wanwatch.measure.speed import turn
from wanwatch.publish.speed_metrics import OUTCOMES
from wanwatch.store import SqliteRecord, StoreError, announce, withdraw

FAR = "127.30.0.1"
TOKEN = "a token of one test"  # noqa: S105 - of one test
DAY_NS = 86_400 * NS_PER_S


def _port(kind: int = socket.SOCK_STREAM) -> int:
    with socket.socket(type=kind) as sock:
        sock.bind(("127.0.0.1", 0))
        port: int = sock.getsockname()[1]
        return port


@contextlib.asynccontextmanager
async def reflector(folder: Path) -> AsyncIterator[tuple[int, int]]:
    """Serve STAMP and speed tests in a process of its own; give both ports."""
    stamp, speed = _port(socket.SOCK_DGRAM), _port()
    (folder / "key").write_text(TOKEN)
    (folder / "key").chmod(0o600)
    process = await asyncio.create_subprocess_exec(
        sys.executable, "-m", "wanwatch", "reflector", "--address", FAR, "--stamp-port", str(stamp),
        "--stun-port", str(_port(socket.SOCK_DGRAM)), "--speed-port", str(speed), "--token-file", str(folder / "key"),
        stderr=asyncio.subprocess.PIPE,
    )  # fmt: skip
    assert process.stderr is not None
    async with asyncio.timeout(20):
        await process.stderr.readline()
    try:
        yield stamp, speed
    finally:
        process.kill()
        await process.wait()


def office(folder: Path, ports: tuple[int, int], *, uplink: str = "", speed: str = 'wait = "1ms"') -> Path:
    stamp, far = ports
    (folder / "token").write_text(TOKEN)
    (folder / "token").chmod(0o600)
    path = folder / "wanwatch.toml"
    path.write_text(
        f'[site]\nname = "harbour-lane"\ndata_dir = "data"\n'
        f'[[uplink]]\nname = "fibre"\npin = {{ source = "127.20.0.11" }}\n{uplink}\n'
        f'[[target]]\nname = "near"\nstamp = "{FAR}:{stamp}"\nevery = "100ms"\ntimeout = "300ms"\n'
        f'[judge]\nup_after = "600ms"\n[listen]\naddress = "127.0.0.1:{_port()}"\n'
        f'[speed]\nserver = "http://{FAR}:{far}/"\ntoken_file = "token"\nat = "every 1h jitter 5m"\nseconds = 1\n'
        f'connections = 2\nmost = "40 GB"\n{speed}\n'
    )
    return path


@contextlib.asynccontextmanager
async def running(path: Path, *, up: bool = True) -> AsyncIterator[Daemon]:
    daemon = Daemon(load(path), path=path)
    daemon._speeding.retry_s = 0.1
    await daemon.start()
    try:
        async with asyncio.timeout(20):
            while up and _state(daemon) != State.UP:  # noqa: ASYNC110 - the daemon tells nobody, it is asked
                await asyncio.sleep(0.05)
        yield daemon
    finally:
        await daemon.stop()


def _state(daemon: Daemon) -> str:
    uplinks: Any = daemon.health()["uplinks"]
    return str(uplinks[0]["state"]) if uplinks else ""


def kept(path: Path) -> list[Measurement]:
    with SqliteRecord(store_path(load(path))) as record:
        return record.measurements("harbour-lane", kind=MeasurementKind.SPEED)


def begun(path: Path) -> bool:
    with contextlib.suppress(StoreError):  # it is not there yet, or only just
        return bool(kept(path))
    return False


async def test_a_test_by_itself_is_kept_judged_counted_and_shown(tmp_path: Path) -> None:
    """Both directions: in the record with how it was run, as sightings for replays, in the metrics and /health."""
    async with reflector(tmp_path) as ports:
        path = office(tmp_path, ports)
        async with running(path) as daemon:
            job = daemon._scheduler.get_job("speed")
            assert (job.trigger.interval.total_seconds(), job.trigger.jitter) == (3600, 300)
            await daemon._speeding.round()
            health: Any = daemon.health()
            async with aiohttp.ClientSession() as http, http.get(daemon.address + "/metrics") as answer:
                metrics = await answer.text()
    (test,) = kept(path)
    result: Any = test.result
    assert (result["unfinished"], result["skipped"]) == (False, None)
    assert result["asked"] == {"seconds": 1, "connections": 2}
    assert TOKEN not in str(result)
    for way in ("down", "up"):
        assert result[way]["goodput"]["bps"] > 0
        assert result[way]["used_bytes"] <= 40 * 10**9
        assert f'wanwatch_speed_bits_per_second{{direction="{way}",site="harbour-lane",uplink="fibre"}}' in metrics
        assert health["speed"][0][f"{way}_bps"] == result[way]["goodput"]["bps"]
    assert sum(result[way]["used_bytes"] for way in ("down", "up")) < result["data_bytes"]
    assert health["data"][0]["purposes"]["speed"] == result["data_bytes"]
    with SqliteRecord(store_path(load(path))) as record:
        seen = [one.said for one in record.sightings("harbour-lane", Span(0, 1 << 62)) if one.about[0] == "speed"]
    assert len(seen) == 2


def window(uplink: str | None) -> Event:
    now = RealClock.now_unix_ns()
    start, end = (Bounds(at, at, at) for at in (now - 10 * NS_PER_S, now + DAY_NS))
    detail: dict[str, Any] = {"why": "new cabling", "announced": "beforehand"}
    return Event("planned-work-1", "harbour-lane", EventKind.PLANNED_WORK, uplink, start=start, end=end, detail=detail)


async def test_what_holds_a_test_off_is_kept_as_a_reason_and_not_as_a_failed_test(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """Planned work; another test of this site, such as one asked for by hand; a line that is not seen."""
    caplog.set_level("INFO")
    path = office(tmp_path, (_port(socket.SOCK_DGRAM), _port()))
    async with running(path, up=False) as daemon:
        at_first = generate_latest(daemon._metrics.registry).decode()
        daemon._speeding.states = dict
        await daemon._speeding.round()
        daemon._speeding.states = lambda: {"fibre": _Up()}  # type: ignore[dict-item]  # up, without waiting
        daemon._speeding._quick.clear()
        announce(store_path(load(path)), "harbour-lane", [window("fibre")])
        await daemon._speeding.round()
        withdraw(store_path(load(path)), "harbour-lane", "planned-work-1")
        with turn(load(path).site.data_dir):
            await daemon._speeding.round()
        async with aiohttp.ClientSession() as http, http.get(daemon.address + "/metrics") as answer:
            metrics = await answer.text()
        path.write_text(path.read_text().replace('name = "fibre"', 'name = "copper"'))
        fibre = daemon._config.uplinks[0]
        await daemon.reload()
        await daemon._speeding._skip(fibre, Reason.BUSY)  # as of a round that has waited meanwhile
        assert '"fibre"' not in generate_latest(daemon._metrics.registry).decode()
        assert not daemon._speeding.to_json()
    tests = kept(path)[:3]
    assert [test.result["skipped"] for test in tests] == ["unobserved", "planned-work", "another-test"]
    # Prometheus instrumentation practice, avoid missing metrics: a rate sees no rise of what was not there before.
    for outcome in OUTCOMES:
        assert f'wanwatch_speed_tests_total{{outcome="{outcome}",site="harbour-lane",uplink="fibre"}} 0.0' in at_first
    assert 'wanwatch_data_bytes_total{purpose="speed",site="harbour-lane",uplink="fibre"} 0.0' in at_first
    assert all(test.result["down"] is None and test.result["up"] is None for test in tests)
    assert 'wanwatch_speed_tests_total{outcome="skipped",site="harbour-lane",uplink="fibre"} 3.0' in metrics
    assert "fibre: speed test skipped: planned work was going on" in caplog.text


class _Up:
    state = State.UP


async def test_two_rounds_at_once_are_one_after_the_other(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """One test a site at a time, whoever asks."""
    running_now, most = 0, 0

    async def slow(config: Config, uplink: str, clock: Clock, **_: object) -> SpeedResult:
        nonlocal running_now, most
        running_now += 1
        most = max(most, running_now)
        await asyncio.sleep(0.1)
        running_now -= 1
        return SpeedResult(
            site=config.site.name, uplink=uplink, at_unix_ns=clock.now_unix_ns(), server="http://192.0.2.80/", runs=()
        )

    monkeypatch.setattr("wanwatch.daemon.speeding.run_speed_test", slow)
    path = office(tmp_path, (_port(socket.SOCK_DGRAM), _port()))
    async with running(path, up=False) as daemon:
        daemon._speeding.states = lambda: {"fibre": _Up()}  # type: ignore[dict-item]  # up, without waiting
        daemon._speeding._quick.clear()
        await asyncio.gather(daemon._speeding.round(), daemon._speeding.round())
    assert most == 1
    assert len(kept(path)) == 2


async def test_a_busy_line_is_waited_for_and_tested_all_the_same_in_the_end(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Within `wait` it is looked at again; after that the test is made, and marks itself."""
    looks: list[float] = []

    async def busy(_uplink: object, share: float, _clock: object) -> bool:
        looks.append(share)
        return True

    async def empty(config: Config, uplink: str, clock: Clock, **_: object) -> SpeedResult:
        return SpeedResult(
            site=config.site.name, uplink=uplink, at_unix_ns=clock.now_unix_ns(), server="http://192.0.2.80/", runs=()
        )

    monkeypatch.setattr("wanwatch.daemon.speeding.busy_now", busy)
    monkeypatch.setattr("wanwatch.daemon.speeding.run_speed_test", empty)
    path = office(tmp_path, (_port(socket.SOCK_DGRAM), _port()), speed='wait = "500ms"\nbusy = "20%"')
    async with running(path, up=False) as daemon:
        daemon._speeding.states = lambda: {"fibre": _Up()}  # type: ignore[dict-item]  # up, without waiting
        daemon._speeding._quick.clear()
        await daemon._speeding.round()
    assert 2 <= len(looks) <= 6
    assert set(looks) == {0.2}
    (test,) = kept(path)
    assert test.result["skipped"] is None


async def test_what_cannot_be_kept_is_not_tested(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A disk that takes nothing would not hold the test's data either, and a kill would leave it uncounted."""
    path = office(tmp_path, (_port(socket.SOCK_DGRAM), _port()))
    async with running(path, up=False) as daemon:
        daemon._speeding.states = lambda: {"fibre": _Up()}  # type: ignore[dict-item]  # up, without waiting
        daemon._speeding._quick.clear()
        sent = len(kept(path))

        async def full(_measured: Measurement) -> bool:
            return False

        monkeypatch.setattr(daemon._speeding.keeper, "measurement", full)
        await daemon._speeding.round()
        told: Any = daemon.health()["speed"]
    assert told[0]["skipped"] == "no-record"
    assert len(kept(path)) == sent


async def test_a_test_that_would_pass_the_budget_is_not_begun(tmp_path: Path) -> None:
    """Nothing is sent for it, and waiting would not help."""
    path = office(tmp_path, (_port(socket.SOCK_DGRAM), _port()), uplink='data_budget = "9 GB/month"')
    async with running(path, up=False) as daemon:
        daemon._speeding.states = lambda: {"fibre": _Up()}  # type: ignore[dict-item]  # up, without waiting
        daemon._speeding._quick.clear()
        await daemon._speeding.round()
    (test,) = kept(path)
    assert (test.result["skipped"], test.result["data_bytes"]) == ("budget", 0)


async def test_a_daemon_that_is_killed_in_a_test_leaves_the_budget_right(tmp_path: Path) -> None:
    """What the test could use at most was counted before anything was sent, and the next daemon counts it still."""
    async with reflector(tmp_path) as ports:
        path = office(tmp_path, ports, uplink='data_budget = "900000 GB/month"', speed='wait = "30s"')
        path.write_text(
            path.read_text().replace("every 1h jitter 5m", "every 2s").replace("seconds = 1", "seconds = 9")
        )
        path.write_text(path.read_text().replace("40 GB", "900 MB"))
        process = await asyncio.create_subprocess_exec(sys.executable, "-m", "wanwatch", "run", str(path))
        async with asyncio.timeout(40):
            while not begun(path):  # noqa: ASYNC110 - it is another process
                await asyncio.sleep(0.1)
        await asyncio.sleep(3)
        process.kill()
        await process.wait()
        path.write_text(path.read_text().replace('at = "every 2s"\n', ""))
        (test,) = kept(path)
        config = load(path)
        assert config.speed is not None
        most = most_bytes(config.speed, config.uplinks[0])
        assert (test.result["unfinished"], test.result["data_bytes"]) == (True, most)
        async with running(path) as daemon:
            data: Any = daemon.health()["data"]
        assert data[0]["purposes"]["speed"] == most
        assert data[0]["used_bytes"] >= most
