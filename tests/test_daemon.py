"""The whole daemon on loopback sockets: start, reload, stop, one to a record, and what it tells its manager."""

import asyncio
import contextlib
import itertools
import json
import os
import signal
import socket
import sys
from collections import Counter
from collections.abc import AsyncIterator, Iterator
from pathlib import Path

import aiohttp
import pytest

from wanwatch.config import load
from wanwatch.config.plan import store_path
from wanwatch.core.model import NS_PER_S, EventKind, Kind, Role, Series, Span, SpeedSeen, State
from wanwatch.daemon import Daemon
from wanwatch.reflector import StampReflector
from wanwatch.store import SqliteRecord, StoreLockedError
from wanwatch.store.last_run import USUALS

ALL_TIME = Span(0, 1 << 62)
FAR_AWAY = "127.30.0.1"


@pytest.fixture
async def reflector() -> AsyncIterator[StampReflector]:
    far = StampReflector(FAR_AWAY, 0)
    yield far
    with contextlib.suppress(ValueError):  # a test may have closed it
        far.close()


@contextlib.contextmanager
def mute(port: int) -> Iterator[None]:
    """Hold the far end's port and answer nothing: a closed port would refuse, and a refusal is a sign of life."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        sock.bind((FAR_AWAY, port))
        yield


def office(folder: Path, port: int, *, targets: tuple[str, ...] = ("near",), extra: str = "") -> Path:
    """Write a configuration whose two lines differ by source address."""
    lines = "".join(
        f'[[uplink]]\nname = "{name}"\npin = {{ source = "127.20.0.{number}" }}\n'
        for number, name in ((11, "fibre"), (12, "copper"))
    )
    asked = "".join(
        f'[[target]]\nname = "{name}"\nstamp = "{FAR_AWAY}:{port}"\nevery = "100ms"\ntimeout = "300ms"\n'
        for name in targets
    )
    path = folder / "wanwatch.toml"
    path.write_text(
        f'[site]\nname = "harbour-lane"\ndata_dir = "data"\n{lines}{asked}'
        '[judge]\ndown_after = "500ms"\nup_after = "600ms"\nwindow = "2s"\n'
        f'[carrying]\npulse = "50ms"\n[listen]\naddress = "127.0.0.1:{_free_port()}"\n{extra}',
        "utf-8",
    )
    return path


def _free_port() -> int:
    with socket.socket() as sock:
        sock.bind(("127.0.0.1", 0))
        port: int = sock.getsockname()[1]
        return port


@contextlib.asynccontextmanager
async def running(path: Path, **settings: dict[str, str]) -> AsyncIterator[Daemon]:
    daemon = Daemon(load(path), path=path, **settings)  # type: ignore[arg-type]  # environ alone is given
    await daemon.start()
    try:
        yield daemon
    finally:
        await daemon.stop()


async def test_what_is_probed_is_kept_and_shown(tmp_path: Path, reflector: StampReflector) -> None:
    """Samples reach the record, the metrics and /health; stopping writes everything."""
    async with running(office(tmp_path, reflector.port)) as daemon, aiohttp.ClientSession() as http:
        await asyncio.sleep(1)
        async with http.get(daemon.address + "/health") as answer:
            health = await answer.json()
        async with http.get(daemon.address + "/metrics") as answer:
            metrics = await answer.text()
    assert health["status"] == "ok"
    assert [(uplink["name"], uplink["state"]) for uplink in health["uplinks"]] == [("fibre", "up"), ("copper", "up")]
    assert 'wanwatch_uplink_state{site="harbour-lane",state="up",uplink="fibre"} 1.0' in metrics
    with SqliteRecord(tmp_path / "data" / "wanwatch.sqlite") as record:
        series = Series("fibre", "near", Kind.STAMP, Role.LINE)
        sent = sum(block.sent for block in record.blocks("harbour-lane", ALL_TIME, [series]))
        assert 8 <= sent <= 12
        assert record.watched("harbour-lane", ALL_TIME)[0].length_ns > 0.9 * NS_PER_S


async def test_a_line_that_falls_silent_is_an_outage(tmp_path: Path, reflector: StampReflector) -> None:
    """Silence of every target becomes an event on disk, and it ends when answers return."""
    path = office(tmp_path, reflector.port)
    async with running(path):
        await asyncio.sleep(0.6)
        reflector.close()
        with mute(reflector.port):
            await asyncio.sleep(1.5)
        again = StampReflector(FAR_AWAY, reflector.port)
        await asyncio.sleep(1.5)
        again.close()
    with SqliteRecord(tmp_path / "data" / "wanwatch.sqlite") as record:
        outages = record.events("harbour-lane", kinds=[EventKind.OUTAGE])
    assert sorted(event.uplink or "" for event in outages) == ["copper", "fibre"]
    for event in outages:
        assert event.end is not None
        length_s = (event.end.estimate_unix_ns - event.start.estimate_unix_ns) / NS_PER_S
        assert length_s == pytest.approx(1.5, abs=0.3)
        quality = event.detail["clock"]
        assert isinstance(quality, dict)
        assert quality["synchronised"] is (quality["max_error_s"] is not None)


async def test_what_is_usual_is_kept_for_the_next_run(tmp_path: Path, reflector: StampReflector) -> None:
    """A speed test is kept and teaches what is usual: a note for the next run, and a sighting for replays."""
    path = office(tmp_path, reflector.port)
    async with running(path) as daemon:
        judge = daemon._judge
        assert judge is not None
        for _ in range(100):
            await asyncio.sleep(0.05)
            if judge.states and judge.states["fibre"].state is State.UP:
                break
        clock = daemon._clock
        daemon._observe(SpeedSeen(clock.now_ns(), clock.now_unix_ns(), "fibre", "down", 1e8, counts=True))
    with SqliteRecord(store_path(load(path))) as record:
        assert record.recall(USUALS) == {"fibre": {"speed-down": [100_000_000]}, "copper": {}}
        sighted = {one.about[0]: one.said for one in record.sightings("harbour-lane", ALL_TIME)}
    assert (sighted["speed"], sighted["learnt"]) == ([1e8, True, 0], [100_000_000])


async def test_a_reload_disturbs_nothing_that_stays(tmp_path: Path, reflector: StampReflector) -> None:
    """A target is added; the series that was there goes on without a gap."""
    path = office(tmp_path, reflector.port)
    async with running(path) as daemon:
        await asyncio.sleep(0.5)
        office(tmp_path, reflector.port, targets=("near", "far"))
        await daemon.reload()
        await asyncio.sleep(0.5)
    with SqliteRecord(tmp_path / "data" / "wanwatch.sqlite") as record:
        blocks = list(record.blocks("harbour-lane", ALL_TIME))
    sent: Counter[tuple[str, str]] = Counter()
    for block in blocks:  # two of a series, where a minute ends during the test
        sent[block.series.uplink, block.series.target] += block.sent
    assert sent["fibre", "near"] >= 9
    assert 3 <= sent["fibre", "far"] <= 6
    offsets = next(block.offsets for block in blocks if block.series[:2] == ("fibre", "near"))
    gaps_us = [after - before for before, after in itertools.pairwise(memoryview(offsets).cast("I"))]
    assert max(gaps_us) < 150_000


async def test_a_reload_with_mistakes_changes_nothing(
    tmp_path: Path, reflector: StampReflector, caplog: pytest.LogCaptureFixture
) -> None:
    """The former configuration stays in force, and the mistakes are told."""
    path = office(tmp_path, reflector.port)
    async with running(path) as daemon:
        path.write_text(path.read_text("utf-8").replace('"100ms"', '"100 fortnights"'), "utf-8")
        await daemon.reload()
        await asyncio.sleep(0.4)
        assert daemon.health()["status"] == "ok"
    assert "100 fortnights" in caplog.text


@pytest.mark.parametrize("change", [('"harbour-lane"', '"mill-street"'), ('"data"', '"elsewhere"')])
async def test_a_reload_takes_up_no_other_record(
    tmp_path: Path, reflector: StampReflector, caplog: pytest.LogCaptureFixture, change: tuple[str, str]
) -> None:
    """What writes it is open already: reports, notices and receivers would read one that nobody writes."""
    path = office(tmp_path, reflector.port)
    async with running(path) as daemon:
        path.write_text(path.read_text("utf-8").replace(*change).replace('name = "near"', 'name = "far"'), "utf-8")
        await daemon.reload()
        assert daemon.health()["site"] == "harbour-lane"
        assert {one.series.target for one in daemon._questions()} == {"near"}
    assert "site.name or site.data_dir is another, so the record is; start the daemon anew" in caplog.text


async def test_one_daemon_to_a_record(tmp_path: Path, reflector: StampReflector) -> None:
    """The second one stops with a clear word and names the first."""
    path = office(tmp_path, reflector.port)
    async with running(path):
        other = Daemon(load(path), path=path)
        with pytest.raises(StoreLockedError) as raised:
            await other.start()
    assert str(os.getpid()) in str(raised.value)


async def test_the_service_manager_hears_of_ready_alive_and_stopping(tmp_path: Path, reflector: StampReflector) -> None:
    """READY=1 after the start, WATCHDOG=1 at half of what was asked, STOPPING=1 at the end (sd_notify(3))."""
    path = tmp_path / "notify"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_NONBLOCK) as manager:
        manager.bind(str(path))
        environ = {"NOTIFY_SOCKET": str(path), "WATCHDOG_USEC": "400000"}
        async with running(office(tmp_path, reflector.port), environ=environ):
            await asyncio.sleep(0.9)
        said = []
        with contextlib.suppress(BlockingIOError):
            while True:
                said.append(manager.recv(200).decode())
    assert said[0].startswith("READY=1\n")
    assert "STOPPING=1" in said[-2:]  # a last sign of life may follow it
    assert 2 <= said.count("WATCHDOG=1") <= 4


async def test_sigterm_stops_the_command_within_two_seconds(tmp_path: Path, reflector: StampReflector) -> None:
    """The process ends by itself with 0, and what it saw is in the record."""
    path = office(tmp_path, reflector.port)
    process = await asyncio.create_subprocess_exec(
        sys.executable, "-m", "wanwatch", "run", str(path), stderr=asyncio.subprocess.PIPE
    )
    assert process.stderr is not None
    assert b"watching harbour-lane" in await process.stderr.readline()
    await asyncio.sleep(0.5)
    process.send_signal(signal.SIGTERM)
    assert await asyncio.wait_for(process.wait(), 2) == 0
    with SqliteRecord(tmp_path / "data" / "wanwatch.sqlite") as record:
        assert sum(block.sent for block in record.blocks("harbour-lane", ALL_TIME)) > 0


async def test_status_asks_the_running_daemon(tmp_path: Path, reflector: StampReflector) -> None:
    """Exit code 3 while nobody can tell, 0 while every line is up."""
    path = office(tmp_path, reflector.port)

    async def status() -> tuple[int | None, bytes]:
        process = await asyncio.create_subprocess_exec(
            sys.executable, "-m", "wanwatch", "status", "--json", "--config", str(path),
            stdout=asyncio.subprocess.PIPE, stderr=asyncio.subprocess.DEVNULL,
        )  # fmt: skip
        said, _ = await process.communicate()
        return process.returncode, said

    assert (await status())[0] == 3
    async with running(path):
        await asyncio.sleep(0.5)
        code, said = await status()
    assert (code, json.loads(said)["site"]) == (0, "harbour-lane")
