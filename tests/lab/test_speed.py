"""Speed tests over real lines: shaped ones, both versions of IP, TLS, and beside a daemon that goes on probing."""

import struct
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from itertools import pairwise
from pathlib import Path
from signal import SIGTERM
from typing import Any

import pytest

from tests.lab.office import wait_until
from tests.lab.python import PYTHON, environment
from tests.lab.speedway import ADDRESS, ADDRESS6, COUNTED, HERE, PAYLOAD, Speedway
from wanwatch.core.model import Kind, Span
from wanwatch.store import SqliteRecord

pytestmark = pytest.mark.lab

CLOSE = 0.02
"""Twice what ten seconds have to keep (tests/bench/bench_speed.py): these runs are short, on a machine that is busy."""


@pytest.fixture
def way(tmp_path: Path) -> Iterator[Speedway]:
    """A line with a reflector at its far end."""
    with Speedway(tmp_path) as built:
        built.reflector("--tls-certificate", str(tmp_path / "both.pem"), "--tls-key", str(tmp_path / "both.pem"))
        yield built


def shaped(folder: Path, mbps: int) -> dict[str, Any]:
    """A test of a line that is shaped to so many Mbit/s."""
    folder.mkdir()
    with Speedway(folder) as way:
        way.configure(f'server = "http://{ADDRESS}:9471/"', f"handoff = {{ link_mbps = {mbps} }}")
        way.reflector()
        way.shape(mbps)
        return way.test("--seconds", "4")


def test_a_shaped_line_is_measured_as_fast_as_it_is_and_found_to_be_the_limit(tmp_path: Path) -> None:
    """tc-tbf counts 1514 bytes for 1448 of payload (IEEE 802.3, RFC 9293, RFC 7323); its queue is the line's sign."""
    rates = (10, 80)
    with ThreadPoolExecutor() as pool:
        told = list(pool.map(lambda mbps: shaped(tmp_path / str(mbps), mbps), rates))
    for mbps, result in zip(rates, told, strict=True):
        for run in (result["down"], result["up"]):
            assert run["ending"] == "done"
            assert run["goodput"]["bps"] == pytest.approx(mbps * 1e6 * PAYLOAD / COUNTED, rel=CLOSE)
            assert run["limited_by"] == "line"
            assert run["counts"]
            assert run["loaded"]["median_s"] > run["idle"]["median_s"] + 0.001
            assert run["loaded"]["kind"] == "stamp"
            assert 0.9 < run["warm_up_s"] < 3.5
        assert result["up"]["tcp"]["efficiency"] > 0.9
        assert result["up"]["responsiveness"]["rpm"] > 0


def test_both_versions_of_ip_and_tls_are_spoken(way: Speedway) -> None:
    """RFC 8200 and RFC 8446: what is configured is what is used."""
    for host, ip, direction in ((ADDRESS, 4, "down"), (f"[{ADDRESS6}]", 6, "up")):
        way.configure(f'server = "https://{host}:9471/"')
        run = way.test("--seconds", "1", "--direction", direction)[direction]
        assert (run["ending"], run["ip"], run["tls"]) == ("done", ip, True), run["why"]
        assert run["goodput"]["bps"] > 1e7


def test_a_daemon_loses_no_probe_and_keeps_its_beat_while_a_test_saturates_a_core(way: Speedway) -> None:
    """A process of its own moves the bytes: echoes once a second are all answered, and leave when they should."""
    # On a quiet machine loopback carries more in these seconds than a test may use by default.
    way.configure(f'server = "https://{ADDRESS}:9471/"\nmost = "100 GB"')
    daemon = way.world.spawn(
        HERE, PYTHON, "-m", "wanwatch", "run", str(way.folder / "wanwatch.toml"),
        log=way.folder / "daemon.log", env=environment(),
    )  # fmt: skip
    status = ("curl", "-s", "-m", "1", "http://127.0.0.1:9470/health")
    wait_until(lambda: way.world.run(HERE, *status).returncode == 0, "the daemon", within_s=30)
    begun_s = time.time()
    result = way.test("--seconds", "4")
    ended_s = time.time()
    daemon.signal(SIGTERM)
    assert daemon.wait() == 0, daemon.log.read_text()
    assert result["down"]["ending"] == "done"
    assert result["down"]["signs"]["processor"] > 0.5
    sent, lost = echoes(way.folder / "data" / "wanwatch.sqlite", begun_s, ended_s)
    assert lost == 0
    assert len(sent) >= int(ended_s - begun_s) - 1
    assert max(abs(after - before - 1) for before, after in pairwise(sent)) < 0.1


def echoes(path: Path, begun_s: float, ended_s: float) -> tuple[list[float], int]:
    """When the echoes of that time were sent, and how many probes were lost or not sent in it."""
    with SqliteRecord(path) as record:
        span = Span(int(begun_s - 60) * 10**9, int(ended_s + 60) * 10**9)
        blocks = [block for block in record.blocks("harbour-lane", span) if block.series.kind is Kind.ECHO]
    pinned = [block for block in blocks if block.series.uplink == "fibre"]
    offsets = [
        block.minute * 60 + offset / 1e6 for block in pinned for (offset,) in struct.iter_unpack("<I", block.offsets)
    ]
    lost = sum(block.lost + block.late + block.not_sent for block in pinned)
    return [at for at in sorted(offsets) if begun_s <= at <= ended_s], lost


def test_a_test_beside_other_traffic_is_marked_and_does_not_count(way: Speedway) -> None:
    """The interface's counters less the test's own bytes: a download beside it shows, and a quiet line is quiet."""
    way.nginx()
    way.shape(80)
    way.configure(f'server = "https://{ADDRESS}:9471/"', "handoff = { link_mbps = 80 }")
    quiet = way.test("--seconds", "2", "--direction", "down")["down"]
    with ThreadPoolExecutor() as pool:
        other = pool.submit(way.curl, f"http://{ADDRESS}/file", 9.0)
        busy = way.test("--seconds", "2", "--direction", "down")["down"]
        others_bps = other.result() * 8
    assert (quiet["busy"], quiet["others_bps"] < 0.02 * 80e6) == (False, True)
    assert (busy["busy"], busy["counts"]) == (True, False)
    # One connection beside four; before and after them it had the line to itself.
    assert 0.05 * 80e6 < busy["others_bps"] < others_bps * 1.1
