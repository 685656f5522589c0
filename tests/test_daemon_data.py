"""The whole daemon on loopback: what probing uses is counted, kept across a kill, and bound by a budget."""

import asyncio
import socket
import sys
from pathlib import Path
from typing import Any

import aiohttp
import pytest

from wanwatch.clock import RealClock
from wanwatch.config import load
from wanwatch.config.plan import store_path
from wanwatch.core.account.calendar import local_time
from wanwatch.core.databudget import DataUse, Purpose, data_key
from wanwatch.core.model import UNPINNED, Span
from wanwatch.daemon import Daemon
from wanwatch.reflector import StampReflector
from wanwatch.store import SqliteRecord

FAR = "127.30.0.1"
STAMP_BYTES = 2 * (20 + 8 + 44)
"""RFC 791, RFC 768 and RFC 8762 section 4.2.1, both ways."""


def office(folder: Path, port: int, budget: str, *, listen: int = 0) -> Path:
    with socket.socket() as sock:
        sock.bind(("127.0.0.1", 0))
        listen = listen or sock.getsockname()[1]
    path = folder / "wanwatch.toml"
    path.write_text(
        f'[site]\nname = "harbour-lane"\ndata_dir = "data"\n'
        f'[[uplink]]\nname = "copper"\npin = {{ source = "127.20.0.12" }}\ndata_budget = "{budget}"\n'
        f'[[target]]\nname = "near"\nstamp = "{FAR}:{port}"\nevery = "50ms"\ntimeout = "300ms"\n'
        f'[listen]\naddress = "127.0.0.1:{listen}"\n'
    )
    return path


def kept(path: Path) -> DataUse:
    day = local_time(RealClock.now_unix_ns(), load(path).site.zone)
    with SqliteRecord(store_path(load(path))) as record:
        return DataUse.from_json(record.recall(data_key(day.year, day.month)))


def sent(path: Path, uplink: str) -> int:
    with SqliteRecord(store_path(load(path))) as record:
        blocks = record.blocks("harbour-lane", Span(0, 1 << 62))
        return sum(block.sent for block in blocks if block.series.uplink == uplink)


async def test_each_probe_is_counted_as_check_reckons_it(tmp_path: Path) -> None:
    """The count is the number of probes times their packets' bytes; the metric and /health say the same."""
    far = StampReflector(FAR, 0)
    path = office(tmp_path, far.port, "2 GB/month")
    daemon = Daemon(load(path), path=path)
    await daemon.start()
    await asyncio.sleep(1.2)
    async with aiohttp.ClientSession() as http, http.get(daemon.address + "/metrics") as answer:
        metrics = await answer.text()
    told: Any = daemon.health()["data"]
    await daemon.stop()
    far.close()
    use = kept(path)["copper"]
    assert use[Purpose.LINE] == sent(path, "copper") * STAMP_BYTES > 0
    # Nobody says who carries, so what ordinary traffic is asked counts on the first uplink.
    assert use[Purpose.TRAFFIC] >= sent(path, UNPINNED) * STAMP_BYTES > 0
    assert Purpose.UNWRITTEN not in use
    assert 'wanwatch_data_bytes_total{purpose="line",site="harbour-lane",uplink="copper"}' in metrics
    assert (told[0]["budget_bytes"], told[0]["sparing"]) == (2 * 10**9, False)


class _Listener(asyncio.DatagramProtocol):
    """Counts what comes, and answers nothing."""

    def __init__(self) -> None:
        self.heard = 0

    def datagram_received(self, data: bytes, addr: object) -> None:
        del data, addr
        self.heard += 1


async def test_a_killed_daemon_leaves_no_byte_uncounted(tmp_path: Path) -> None:
    """After a kill that nothing can catch, the record counts at least what the far end was sent, and more next time."""
    far = _Listener()
    transport, _ = await asyncio.get_running_loop().create_datagram_endpoint(lambda: far, local_addr=(FAR, 0))
    path = office(tmp_path, transport.get_extra_info("sockname")[1], "2 GB/month")
    process = await asyncio.create_subprocess_exec(sys.executable, "-m", "wanwatch", "run", str(path))
    async with asyncio.timeout(20):
        while far.heard < 20:  # noqa: ASYNC110 - a datagram tells nobody but the listener
            await asyncio.sleep(0.05)
    process.kill()
    await process.wait()
    transport.close()
    use = kept(path)
    assert use.of("copper") >= far.heard * STAMP_BYTES
    daemon = Daemon(load(path), path=path)
    await daemon.start()
    await daemon.stop()
    assert kept(path).of("copper") >= use.of("copper")


async def test_an_uplink_without_budget_left_is_still_asked_but_sparingly(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """Once a minute instead of twenty times a second, and it is told; a larger budget on reload ends it."""
    far = StampReflector(FAR, 0)
    path = office(tmp_path, far.port, "0.001 kB/month")  # too little for minutes, and 20 GB enough for a month
    daemon = Daemon(load(path), path=path)
    await daemon.start()
    await asyncio.sleep(1)
    told: Any = daemon.health()["data"]
    office(tmp_path, far.port, "20 GB/month", listen=load(path).listen.port)
    await daemon.reload()
    after: Any = daemon.health()["data"]
    await daemon.stop()
    far.close()
    assert sent(path, "copper") <= 2
    assert "asked sparingly" in caplog.text
    assert (told[0]["sparing"], after[0]["sparing"]) == (True, False)
