"""Remote write against a real Prometheus with its receiver switched on, which is killed in the middle."""

import asyncio
import json
import shutil
import subprocess
import time
import urllib.error
import urllib.parse
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from types import TracebackType
from typing import Final, Self

import pytest

from tests.publish.remote_write.hours import MINUTES, SITE, an_hour, forwarder
from wanwatch.core.model import NS_PER_S
from wanwatch.publish.remote_write import Receiver
from wanwatch.publish.remote_write.minutes import series_of
from wanwatch.store import SqliteRecord

PORT: Final = 19_091
AGO_MIN: Final = 66
"""The hour ends a few minutes ago: Prometheus has no wish for points of the future, or of long ago."""


class Prometheus:
    """A Prometheus that takes remote write. Use as a context manager."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        (folder / "prometheus.yml").write_text("global: {}\n")
        self._process = self._begun()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.kill()

    @property
    def url(self) -> str:
        """Where it takes requests."""
        return f"http://127.0.0.1:{PORT}/api/v1/write"

    def kill(self) -> None:
        """Kill it as a power cut does."""
        self._process.kill()
        self._process.wait()

    def start(self) -> None:
        """Start it again over what it has on its disk."""
        self._process = self._begun()

    def points(self, ends_unix_s: int) -> dict[tuple[tuple[str, str], ...], list[tuple[int, float]]]:
        """Every point that it holds of the two hours before an instant, by series."""
        query = urllib.parse.urlencode({"query": '{__name__=~"wanwatch_.+"}[2h]', "time": ends_unix_s})
        with urllib.request.urlopen(f"http://127.0.0.1:{PORT}/api/v1/query?{query}", timeout=20) as answer:
            found = json.load(answer)["data"]["result"]
        return {
            tuple(sorted(one["metric"].items())): [(round(at * 1000), float(value)) for at, value in one["values"]]
            for one in found
        }

    def _begun(self) -> subprocess.Popen[bytes]:
        with (self._folder / "prometheus.log").open("ab") as log:
            process = subprocess.Popen(
                ["prometheus", f"--config.file={self._folder / 'prometheus.yml'}",
                 f"--storage.tsdb.path={self._folder / 'tsdb'}", f"--web.listen-address=127.0.0.1:{PORT}",
                 "--web.enable-remote-write-receiver"], stdout=log, stderr=log,
            )  # fmt: skip
        deadline = time.monotonic() + 30
        while time.monotonic() < deadline:
            try:
                urllib.request.urlopen(f"http://127.0.0.1:{PORT}/-/ready", timeout=1).close()
            except (urllib.error.URLError, OSError):
                time.sleep(0.05)
            else:
                return process
        process.kill()
        raise TimeoutError((self._folder / "prometheus.log").read_text()[-2000:])


@pytest.fixture
def prometheus(tmp_path: Path) -> Iterator[Prometheus]:
    """One that is ready."""
    if shutil.which("prometheus") is None:
        pytest.skip("not installed: prometheus")
    with Prometheus(tmp_path) as ready:
        yield ready


async def test_an_hour_arrives_whole_and_in_order_although_the_receiver_is_killed(
    prometheus: Prometheus, tmp_path: Path
) -> None:
    """What the receiver holds in the end is what the record holds, point by point.

    Prometheus refuses points that are out of order, so that any other order would leave a gap.
    """
    begun = int(time.time()) // 60 - AGO_MIN
    clock = await an_hour(tmp_path / "record.sqlite", begun * 60 * NS_PER_S)
    told, kept = list[str](), list[int]()
    sending = forwarder(tmp_path / "record.sqlite", clock, Receiver(prometheus.url, 7200 * NS_PER_S), told, kept)
    while len([one for one in kept if one > begun]) < 3:
        assert await sending.step()
    prometheus.kill()
    under_way = asyncio.create_task(sending.step())
    await asyncio.sleep(0.3)
    await asyncio.to_thread(prometheus.start)
    assert await under_way
    # As after a crash between the delivery and the position: the last request is sent a second time.
    kept.pop()
    sending = forwarder(tmp_path / "record.sqlite", clock, Receiver(prometheus.url, 7200 * NS_PER_S), told, kept)
    while await sending.step():
        pass
    with SqliteRecord(tmp_path / "record.sqlite") as record:
        kept_points = series_of(record, SITE, begun, begun + MINUTES)
    assert prometheus.points((begun + MINUTES + 3) * 60) == kept_points
    assert len(told) == 3, told
    assert told[0].endswith("it is tried again, and nothing is left out")
    assert told[1].endswith("works again")
    assert "unless it had them before" in told[2]  # it had: this is the request that was sent a second time
