"""The daemon's signs of life, from its configuration to a receiver on loopback."""

import asyncio
from collections.abc import AsyncIterator, Callable
from pathlib import Path
from typing import Any

import pytest
from aiohttp import web

from tests.test_daemon import office, running
from wanwatch.daemon import Daemon
from wanwatch.publish.notices.ping import UNWELL
from wanwatch.reflector import StampReflector
from wanwatch.store import SqliteKeeper

FAR_AWAY = "127.30.0.1"


class Watcher:
    """Whoever would miss us: notes by which address each sign came."""

    def __init__(self) -> None:
        self.heard: list[str | None] = []
        self.url = ""

    async def handle(self, request: web.Request) -> web.Response:
        """Take a sign."""
        self.heard.append(request.remote)
        return web.Response(status=204)


@pytest.fixture
async def watcher() -> AsyncIterator[Watcher]:
    """One that listens."""
    made = Watcher()
    app = web.Application()
    app.add_routes([web.get("/office", made.handle)])
    runner = web.AppRunner(app)
    await runner.setup()
    await web.TCPSite(runner, FAR_AWAY, 0).start()
    made.url = f"http://{FAR_AWAY}:{runner.addresses[0][1]}/office"
    yield made
    await runner.cleanup()


@pytest.fixture
async def reflector() -> AsyncIterator[StampReflector]:
    """What the lines are asked for."""
    far = StampReflector(FAR_AWAY, 0)
    yield far
    far.close()


async def until(true: Callable[[], bool]) -> None:
    async with asyncio.timeout(10):
        while not true():  # noqa: ASYNC110 - what is awaited is no event of ours
            await asyncio.sleep(0.02)


def used(daemon: Daemon, uplink: str) -> int:
    told: Any = daemon.health()["data"]
    return next(int(row["purposes"].get("ping", 0)) for row in told if row["uplink"] == uplink)


async def test_a_sign_leaves_by_a_line_and_shows_in_health_and_metrics(
    tmp_path: Path, reflector: StampReflector, watcher: Watcher
) -> None:
    """By the first line's own pin; taken out of the configuration, nothing is sent or shown any more."""
    path = office(tmp_path, reflector.port, extra=f'[ping]\nurl = "{watcher.url}"\nevery = "10s"\n')
    async with running(path) as daemon:
        await until(lambda: bool(watcher.heard))
        assert watcher.heard == ["127.20.0.11"]
        await until(
            lambda: daemon._pinging.to_json() == daemon.health()["ping"] != {"heard_unix_s": None, "trouble": None}
        )
        names = {sample.name for family in daemon._metrics.registry.collect() for sample in family.samples}
        assert "wanwatch_ping_timestamp_seconds" in names
        # A request and an answer of a few hundred bytes, in some ten packets (RFC 9293, RFC 9110).
        await until(lambda: 700 < used(daemon, "fibre") < 1500)
        assert used(daemon, "copper") == 0
        path.write_text(path.read_text().partition("[ping]")[0])
        await daemon.reload()
        names = {sample.name for family in daemon._metrics.registry.collect() for sample in family.samples}
        assert "wanwatch_ping_timestamp_seconds" not in names
        assert daemon.health()["ping"] is None


async def test_a_daemon_that_cannot_keep_what_it_sees_gives_no_sign(
    tmp_path: Path, reflector: StampReflector, watcher: Watcher, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Then silence is what tells people elsewhere to look."""
    monkeypatch.setattr(SqliteKeeper, "healthy", property(lambda _: False))
    path = office(tmp_path, reflector.port, extra=f'[ping]\nurl = "{watcher.url}"\nevery = "10s"\n')
    async with running(path) as daemon:
        await until(lambda: daemon.health()["ping"] == {"heard_unix_s": None, "trouble": UNWELL})
    assert watcher.heard == []
