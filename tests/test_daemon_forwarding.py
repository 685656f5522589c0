"""By which line the daemon sends its record."""

import asyncio
import sys
import time
from pathlib import Path
from typing import Any, Final, cast

import pytest
from prometheus_client import CollectorRegistry

from tests.fakes.clock import START_UNIX_NS, FakeClock
from tests.publish.remote_write.hours import MINUTES, SITE, Answering, an_hour, listening
from wanwatch.config import load
from wanwatch.config.plan import store_path
from wanwatch.core.model import NS_PER_S
from wanwatch.daemon.forwarding import POSITION, Forwarding
from wanwatch.daemon.lines import Lines
from wanwatch.publish.receivers import ReceiverFigures
from wanwatch.publish.remote_write.forwarder import FINAL_AFTER_NS
from wanwatch.publish.remote_write.minutes import NS_PER_MINUTE
from wanwatch.store import SqliteKeeper
from wanwatch.store.last_run import recalled

FILE: Final = """
[site]
name = "harbour-lane"
data_dir = "data"
[[uplink]]
name = "fibre"
pin = { interface = "eth1" }
[[target]]
name = "near"
echo = "192.0.2.1"
[[remote_write]]
url = "https://metrics.example.net/api/v1/write"
"""


def receivers() -> tuple[ReceiverFigures, CollectorRegistry]:
    """What shows how far behind receivers are, and where it is read."""
    figures, registry = ReceiverFigures(SITE), CollectorRegistry()
    registry.register(figures)
    return figures, registry


def lag_s(registry: CollectorRegistry, url: str, of: str = "lag_seconds") -> float | None:
    """The lag of the receiver at this URL, or another figure of it."""
    labels = {"site": SITE, "receiver": url.removeprefix("http://").partition("/")[0]}
    return registry.get_sample_value(f"wanwatch_remote_write_{of}", labels)


async def test_the_record_is_sent_and_the_position_kept(tmp_path: Path) -> None:
    """From the configuration to the receiver, by this machine's own routes; a new start finds nothing left to send."""
    answering = Answering(204)
    async with listening(answering) as url:
        text = FILE.replace("https://metrics.example.net/api/v1/write", url) + 'through = "any"\n'
        (tmp_path / "wanwatch.toml").write_text(text)
        config = load(tmp_path / "wanwatch.toml", {})
        config.site.data_dir.mkdir()
        clock = await an_hour(store_path(config), START_UNIX_NS)
        keeper = SqliteKeeper(store_path(config), SITE, clock, tell_trouble=print)
        keeper.open()
        for _ in range(2):
            figures, registry = receivers()
            forwarding = Forwarding(clock, keeper, Lines(FakeClock(), lambda: None, lambda *_: None), figures.show)
            await forwarding.apply(config)
            final = (clock.now_unix_ns() - FINAL_AFTER_NS) // NS_PER_MINUTE
            deadline = time.monotonic() + 20
            while recalled(store_path(config), SITE, POSITION + url) != final:
                assert time.monotonic() < deadline
                await asyncio.sleep(0.02)
            assert lag_s(registry, url) == clock.now_unix_ns() / NS_PER_S - final * 60
            await forwarding.close()
        await keeper.close()
    assert recalled(store_path(config), SITE, POSITION + url) == final
    bodies = [body for _, body in answering.requests]
    assert len(bodies) == len(set(bodies)) == MINUTES // 10 + 1


async def test_a_receiver_that_takes_nothing_falls_behind_by_the_second(tmp_path: Path) -> None:
    """From the begin of the first minute that it lacks; its name is the host, and says nothing of the URL's path."""
    async with listening(Answering(503)) as url:
        text = FILE.replace("https://metrics.example.net/api/v1/write", url) + 'through = "any"\nback_fill = "63m"\n'
        (tmp_path / "wanwatch.toml").write_text(text)
        config = load(tmp_path / "wanwatch.toml", {})
        config.site.data_dir.mkdir()
        clock = await an_hour(store_path(config), START_UNIX_NS)
        keeper = SqliteKeeper(store_path(config), SITE, clock, tell_trouble=print)
        keeper.open()
        figures, registry = receivers()
        forwarding = Forwarding(clock, keeper, Lines(FakeClock(), lambda: None, lambda *_: None), figures.show)
        await forwarding.apply(config)
        assert lag_s(registry, url) == 63 * 60
        clock.advance(30)
        assert lag_s(registry, url) == 63 * 60 + 30
        assert lag_s(registry, url, "refused_seconds_total") == 0
        await forwarding.apply(config.model_copy(update={"remote_writes": ()}))
        assert lag_s(registry, url) is lag_s(registry, url, "refused_seconds_total") is None
        await keeper.close()


async def test_a_missing_extra_is_told_and_stops_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """Watching goes on without the receiver, and the log says what to install."""
    (tmp_path / "wanwatch.toml").write_text(FILE)
    monkeypatch.setitem(sys.modules, "cramjam", None)
    show = ReceiverFigures(SITE).show
    forwarding = Forwarding(FakeClock(), cast("Any", None), Lines(FakeClock(), lambda: None, lambda *_: None), show)
    await forwarding.apply(load(tmp_path / "wanwatch.toml", {}))
    await forwarding.close()
    (said,) = (record.getMessage() for record in caplog.records)
    assert said == (
        "remote_write: cannot compress: cramjam is not installed; pip install 'wanwatch[remote-write]', or take "
        "[[remote_write]] out"
    )
