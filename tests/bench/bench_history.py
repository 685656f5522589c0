"""What a report costs of which twelve months of history were never reckoned: seconds and peak memory.

Usage: python -m tests.bench.bench_history [FOLDER]

Makes a record of thirteen months to the end of November 2026 in FOLDER (default: a temporary folder), once, as a store
holds it: two lines, three targets each, one probe a second, every single round-trip time of the last 100 days, and the
counts of the minutes before (some 205 million probes). Each month has twenty outages. Then a fresh process makes the
report of November, as a page, from the opening of the record to the closing of the file: first with no month kept, then
with all of them kept; and once more with promises by the quarter and by the year, which look back further than a month.
"""

import os
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from datetime import UTC
from fractions import Fraction
from pathlib import Path
from typing import Final

from tests.bench.bench_report import NOVEMBER, make, say, subject
from wanwatch.core.account.calendar import Per
from wanwatch.core.account.clauses import Promise
from wanwatch.core.account.period import month_before, month_of
from wanwatch.core.model import NS_PER_S, Span
from wanwatch.report import Subject
from wanwatch.report.command import write_report
from wanwatch.store import SqliteRecord

DAY_NS: Final = 86_400 * NS_PER_S
MONTH: Final = month_of(2026, 11, UTC)
SINCE_UNIX_NS: Final = month_before(MONTH, UTC, 12).span.start_unix_ns
KEEP_RAW_NS: Final = 100 * DAY_NS
MONTHLY: Final = (
    Promise(measure="availability", text="at least 99.9%", limit=Fraction("0.999"), at_least=True),
    Promise(measure="loss", text="at most 0.1%", limit=Fraction("0.001")),
    Promise(measure="delay", text="p95 at most 15ms", limit=Fraction("0.015"), target="near", statistic="p95"),
    Promise(measure="repair", text="at most 24h", limit=Fraction(86_400)),
)


def promised(longer: str) -> Subject:
    """Return the site with a contract whose promises are all by the month, or where *longer* also by more than that."""
    site = subject()
    also = tuple(replace(MONTHLY[0], per=per) for per in (Per.QUARTER, Per.YEAR)) if longer else ()
    first, *others = site.uplinks
    contract = replace(first.contracts[0], promises=(*MONTHLY, *also))
    return replace(site, uplinks=(replace(first, contracts=(contract,)), *others))


def report(path: Path, longer: str) -> None:
    """Make one report: what a fresh process is measured at."""
    with SqliteRecord(path) as record:
        write_report(
            record, promised(longer), MONTH, now_unix_ns=NOVEMBER.end_unix_ns, form="html",
            out=path.with_suffix(".html"), folder=path.parent,
        )  # fmt: skip


def main(folder: Path) -> None:
    """Make the record if it is not there, then measure."""
    path = folder / "history.sqlite3"
    if not path.exists():
        whole = Span(SINCE_UNIX_NS, NOVEMBER.end_unix_ns)
        make(path, whole, raw_since_unix_ns=NOVEMBER.end_unix_ns - KEEP_RAW_NS)
    say(f"record: {path.stat().st_size / 1e6:.0f} MB, load {os.getloadavg()[0]:.1f} before")
    for longer in ("", "longer"):
        for kept in folder.glob("*.figures.json"):
            kept.unlink()
        for state in ("nothing kept", "all kept"):
            began = time.perf_counter()
            command = [sys.executable, "-m", "tests.bench.bench_history", str(folder), longer]
            process = subprocess.Popen(command)
            _, status, usage = os.wait4(process.pid, 0)
            wall_s, cpu_s = time.perf_counter() - began, usage.ru_utime + usage.ru_stime
            told = f"{wall_s:.2f} s ({cpu_s:.2f} s of CPU), peak {usage.ru_maxrss / 1024:.0f} MB, exit {status}"
            say(f"promises by {'month, quarter and year' if longer else 'the month'}, {state}: {told}")


if __name__ == "__main__":
    if len(sys.argv) > 2:
        report(Path(sys.argv[1]) / "history.sqlite3", sys.argv[2])
    elif len(sys.argv) > 1:
        main(Path(sys.argv[1]))
    else:
        with tempfile.TemporaryDirectory() as made_for_it:
            main(Path(made_for_it))
