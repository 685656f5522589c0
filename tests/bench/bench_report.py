"""What a month's report costs: seconds and peak memory over 15.5 million samples, for each format.

Usage: python -m tests.bench.bench_report [FOLDER]

Makes a record of 30 days with two lines, three targets each, one probe a second (15,552,000 samples) in FOLDER
(default: a temporary folder), once. Then a fresh process makes the report in each format, from the opening of the
record to the closing of the file; peak memory is the kernel's count of that process. `all` makes JSON, CSV and HTML,
with the twelve months before beside: the first time these are reckoned and kept, the second time taken from what was
kept.
"""

import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from datetime import UTC
from pathlib import Path
from typing import Final

import numpy as np

from wanwatch.core.account.period import month_of
from wanwatch.core.model import NS_PER_S, Bounds, Event, EventKind, Kind, Role, Series, Span
from wanwatch.core.ports import MARK_LOST
from wanwatch.report import Contract, Subject, TargetPlan, UplinkPlan
from wanwatch.report.command import make as make_report
from wanwatch.report.command import rendered, write_report
from wanwatch.store import SqliteRecord
from wanwatch.store._rows import Row, block_key, event_row
from wanwatch.store._schema import connect

SITE: Final = "harbour-lane"
TARGETS: Final = ("near", "middle", "far")
LINES: Final = ("fibre", "copper")
NOVEMBER: Final = Span(1_793_491_200 * NS_PER_S, 1_796_083_200 * NS_PER_S)
"""November 2026 in UTC: 30 days."""
MINUTE_S: Final = 60
YEAR_NS: Final = 366 * 86_400 * NS_PER_S


def subject() -> Subject:
    """Two lines, one with a contract."""
    targets = tuple(TargetPlan(name=name, every_ns=NS_PER_S, timeout_ns=2 * NS_PER_S) for name in TARGETS)
    contract = Contract(provider="Example Fibre")
    return Subject(
        site=SITE,
        timezone="UTC",
        uplinks=(
            UplinkPlan(name="fibre", contracts=(contract,), targets=targets),
            UplinkPlan(name="copper", targets=targets),
        ),
    )


def rows(span: Span, raw_since_unix_ns: int) -> Iterator[Row]:
    """Minutes of six series: 60 probes each, a thousandth of them lost; before an instant their counts only."""
    chance = np.random.default_rng(1)
    offsets = (np.arange(MINUTE_S, dtype="<u4") * 1_000_000).tobytes()
    edges = (span.start_unix_ns, span.end_unix_ns, raw_since_unix_ns)
    first, after, raw_from = (edge // NS_PER_S // MINUTE_S for edge in edges)
    for minute in range(first, after):
        rtts = (9000 + chance.exponential(900, (6, MINUTE_S))).astype("<u4")
        rtts[chance.random((6, MINUTE_S)) < 0.001] = MARK_LOST
        for number in range(6):
            lost = int((rtts[number] == MARK_LOST).sum())
            counts = (MINUTE_S, lost, 0, 0, 0, 0, 0, 0, 9000, 9600, 11_000, 15_000)
            raw = (offsets, rtts[number].tobytes()) if minute >= raw_from else (b"", b"")
            yield block_key(minute, number + 1), *counts, *raw


def outages(span: Span) -> Iterator[Event]:
    """Outages of the fibre, ten minutes each, some twenty a month."""
    for number in range(span.length_ns // (36 * 3600 * NS_PER_S)):
        start = span.start_unix_ns + number * 36 * 3600 * NS_PER_S
        bounds = [Bounds(t, t - NS_PER_S, t) for t in (start, start + 600 * NS_PER_S)]
        yield Event(id=str(number), site=SITE, kind=EventKind.OUTAGE, uplink="fibre", start=bounds[0], end=bounds[1])


def make(path: Path, span: Span = NOVEMBER, raw_since_unix_ns: int = 0) -> None:
    """Write the record of *span*, straight into the store's own tables."""
    db = connect(path)
    db.execute("BEGIN")
    db.execute("INSERT INTO site VALUES (1, ?, ?)", (SITE, raw_since_unix_ns // NS_PER_S // MINUTE_S))
    every = [Series(line, target, Kind.ECHO, Role.LINE) for line in LINES for target in TARGETS]
    db.executemany(
        "INSERT INTO series (id, site_id, uplink, target, kind, role) VALUES (?, 1, ?, ?, ?, ?)",
        [(number, *one) for number, one in enumerate(every, 1)],
    )
    db.executemany(f"INSERT INTO minute VALUES ({', '.join('?' * 15)})", rows(span, raw_since_unix_ns))  # noqa: S608 - a count of marks
    db.executemany(
        f"INSERT INTO event VALUES (1, {', '.join('?' * 16)})",  # noqa: S608 - likewise
        [event_row(event) for event in outages(span)],
    )
    # Watched for a year before, so that twelve months stand beside the one.
    db.execute("INSERT INTO alive VALUES (1, ?, ?)", (NOVEMBER.start_unix_ns - YEAR_NS, NOVEMBER.end_unix_ns))
    db.execute("COMMIT")
    db.close()


def report(path: Path, form: str) -> None:
    """Make one report: what a fresh process is measured at."""
    out = path.with_suffix(f".{form}")
    with SqliteRecord(path) as record:
        if form == "all":
            made = make_report(
                record, subject(), month_of(2026, 11, UTC), now_unix_ns=NOVEMBER.end_unix_ns, folder=path.parent
            )
            for each in ("json", "csv", "html"):
                path.with_suffix(f".{each}").write_bytes(rendered(made, each))
            return
        write_report(record, subject(), month_of(2026, 11, UTC), now_unix_ns=NOVEMBER.end_unix_ns, form=form, out=out)


def main(folder: Path) -> None:
    """Make the record if it is not there, then measure."""
    path = folder / "bench.sqlite3"
    if not path.exists():
        make(path)
    size_mb = path.stat().st_size / 1e6
    say(f"record: {6 * 30 * 86_400:,} samples, {size_mb:.0f} MB, load {os.getloadavg()[0]:.1f} before")
    for form in ("all", "all", "json", "csv", "html"):
        began = time.perf_counter()
        process = subprocess.Popen([sys.executable, "-m", "tests.bench.bench_report", str(folder), form])
        _, status, usage = os.wait4(process.pid, 0)
        wall_s = time.perf_counter() - began
        cpu_s = usage.ru_utime + usage.ru_stime
        say(f"{form}: {wall_s:.2f} s ({cpu_s:.2f} s of CPU), peak {usage.ru_maxrss / 1024:.0f} MB, exit {status}")
    made = json.loads(path.with_suffix(".json").read_text("utf-8"))
    counted = sum(d["samples"] for u in made["uplinks"] for d in u["delay"].values())
    say(f"samples in the report: {counted:,}")


def say(text: str) -> None:
    """Print a line at once."""
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    if len(sys.argv) > 2:
        report(Path(sys.argv[1]) / "bench.sqlite3", sys.argv[2])
    elif len(sys.argv) > 1:
        main(Path(sys.argv[1]))
    else:
        with tempfile.TemporaryDirectory() as made_for_it:
            main(Path(made_for_it))
