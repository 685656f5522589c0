"""What the store costs: bytes written a day, CPU a sample, how long an event waits, how long retention holds it up.

Usage: python -m tests.bench.bench_store [HOURS] [FOLDER]

Plays HOURS (default 6) of a default office against a clock that is moved by hand, with real commits to the real disk
under FOLDER (default: a temporary folder), and scales to a day. Bytes are those that the kernel charged this process
with (`write_bytes` of /proc/self/io); the file system's own journal comes on top and is not charged to anyone.
"""

import asyncio
import sys
import tempfile
import time
from pathlib import Path
from typing import Final, NamedTuple

from tests.fakes.clock import FakeClock
from tests.store.backends import SITE, event
from wanwatch.core.model import NS_PER_S, UNPINNED, Kind, Outcome, Role, Sample, Series
from wanwatch.store import SqliteKeeper, SqliteRecord

FLUSH_EVERY_S: Final = 9
HOURS_A_DAY: Final = 24


class Paced(NamedTuple):
    """A series and its interval in tenths of a second."""

    series: Series
    every_ds: int


def office() -> list[Paced]:
    """Two uplinks with three targets each, the unpinned path at 5 Hz, resolvers, gateways and STUN: 19 series."""
    found = [Paced(Series(UNPINNED, "near", Kind.ECHO, Role.LINE), 2)]
    found += [Paced(Series(UNPINNED, f"stun-{n}", Kind.STUN, Role.EGRESS), 50) for n in range(2)]
    for uplink in ("fibre", "copper"):
        found += [Paced(Series(uplink, f"target-{n}", Kind.ECHO, Role.LINE), 10) for n in range(3)]
        found += [Paced(Series(uplink, "gateway", Kind.ECHO, Role.GATEWAY), 10)]
        found += [Paced(Series(uplink, f"resolver-{n}", Kind.DNS, Role.NAMES), 100) for n in range(2)]
        found += [Paced(Series(uplink, f"stun-{n}", Kind.STUN, Role.EGRESS), 50) for n in range(2)]
    return found


async def play(keeper: SqliteKeeper, clock: FakeClock, hours: float) -> tuple[int, int]:
    """Play the office; return samples told and nanoseconds spent in telling them."""
    paced, told, spent_ns = office(), 0, 0
    for tenth in range(int(hours * 36_000)):
        due = [_due(one.series, clock, tenth, at) for at, one in enumerate(paced) if (tenth - at) % one.every_ds == 0]
        began_ns = time.perf_counter_ns()
        for sample in due:
            keeper.sample(sample)
        spent_ns += time.perf_counter_ns() - began_ns
        told += len(due)
        clock.advance(0.1)
        if tenth % (FLUSH_EVERY_S * 10) == 0:
            await keeper.flush()
    return told, spent_ns


def _due(series: Series, clock: FakeClock, tenth: int, at: int) -> Sample:
    late_us, rtt_us = tenth * 104_729 % 3_000 + 7 * at, 8_000 + tenth * 7_919 % 5_000
    sent_unix_ns = clock.now_unix_ns() + 1_000 * late_us
    return Sample(series, clock.now_ns(), sent_unix_ns, clock.now_ns(), Outcome.ANSWERED, 1_000 * rtt_us)


async def event_waits_ms(keeper: SqliteKeeper, clock: FakeClock, name: str, count: int) -> list[float]:
    """Keep events one after the other; return how long each took, sorted."""
    waits = []
    for number in range(count):
        began_ns = time.perf_counter_ns()
        await keeper.event(event(f"{name}-{number}", clock.now_unix_ns()))
        waits.append((time.perf_counter_ns() - began_ns) / 1e6)
    return sorted(waits)


async def events_while_pruning(keeper: SqliteKeeper, clock: FakeClock) -> list[float]:
    """Let go of everything raw, and of half the rows, while events come."""
    now = clock.now_unix_ns()
    pruning = asyncio.ensure_future(keeper.prune(now, now - 3 * 3_600 * NS_PER_S))
    waits: list[float] = []
    while not pruning.done():
        waits += await event_waits_ms(keeper, clock, f"pruning-{len(waits)}", 1)
    return sorted(waits)


def written_bytes() -> int:
    """Bytes that this process caused to be written to a disk."""
    lines = Path("/proc/self/io").read_text().splitlines()
    return int(next(line.split()[1] for line in lines if line.startswith("write_bytes")))


async def main(hours: float, folder: Path) -> None:
    """Measure and print."""
    clock = FakeClock()
    keeper = SqliteKeeper(folder / "bench.sqlite", SITE, clock, tell_trouble=sys.exit, flush_every_s=FLUSH_EVERY_S)
    keeper.open()
    await keeper.flush()
    before, began_s, cpu_s = written_bytes(), time.perf_counter(), time.process_time()
    told, spent_ns = await play(keeper, clock, hours)
    written, took_s, cpu_s = written_bytes() - before, time.perf_counter() - began_s, time.process_time() - cpu_s
    waits = await event_waits_ms(keeper, clock, "outage", 200)
    during = await events_while_pruning(keeper, clock)
    await keeper.close()
    size = (folder / "bench.sqlite").stat().st_size
    scale = HOURS_A_DAY / hours
    with SqliteRecord(folder / "bench.sqlite") as record:
        kept = len(record.events(SITE))
    lines = [
        f"series {len(office())}, samples {told}, {hours:g} h played in {took_s:.1f} s ({cpu_s:.1f} s of CPU)",
        f"written a day: {written * scale / 1e6:.0f} MB; the file grows by {size * scale / 1e6:.0f} MB a day",
        f"CPU a sample told: {spent_ns / told / 1e3:.2f} us",
        f"an event's commit: median {waits[100]:.2f} ms, largest of 200 {waits[-1]:.2f} ms",
        f"while pruning: median {during[len(during) // 2]:.2f} ms, largest of {len(during)} {during[-1]:.2f} ms",
        f"events kept: {kept} of {200 + len(during)}",
    ]
    sys.stdout.write("\n".join([*lines, ""]))


if __name__ == "__main__":
    with tempfile.TemporaryDirectory(dir=sys.argv[2] if len(sys.argv) > 2 else None) as name:
        asyncio.run(main(float(sys.argv[1]) if len(sys.argv) > 1 else 6.0, Path(name)))
