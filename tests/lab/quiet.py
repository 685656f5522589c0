"""Quiet minutes: what the daemon costs, and what it claims, while nothing happens at all.

Run by hand, as root or not: `python tests/lab/quiet.py --minutes 20`. Both lines of the lab stay up, the settings are
the defaults, two uplinks and three targets. Prints one JSON object: every event that was told (there must be none), the
time from start to the first sample, and the daemon's memory, processor time and bytes written, from /proc/PID.
"""

import argparse
import json
import os
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Self

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.lab import servers
from tests.lab.office import Office, wait_until
from tests.lab.watch import Watch

TICKS_PER_S: Final = os.sysconf("SC_CLK_TCK")
DAY_S: Final = 86_400
SETTLE_S: Final = 30.0
"""Left out of the figures: start-up is paid once, and the promises are about the years after it."""


@dataclass(frozen=True)
class Cost:
    """What a process has used so far."""

    at_s: float
    processor_s: float
    written_bytes: int
    resident_bytes: int

    @classmethod
    def of(cls, pid: int) -> Self:
        """Read it from /proc (proc(5))."""
        folder = Path(f"/proc/{pid}")
        fields = (folder / "stat").read_text().rpartition(")")[2].split()
        io = dict(line.split(": ") for line in (folder / "io").read_text().splitlines())
        status = dict(line.split(":", 1) for line in (folder / "status").read_text().splitlines())
        return cls(
            time.monotonic(),
            (int(fields[11]) + int(fields[12])) / TICKS_PER_S,
            int(io["write_bytes"]),
            int(status["VmRSS"].split()[0]) * 1024,
        )


def first_sample_s(watch: Watch) -> float:
    """Start the daemon, and return the seconds until its metrics count an answered probe."""
    begun = time.monotonic()
    watch.start(until_up=False)
    fetch = ("curl", "-s", "-m", "1", "http://127.0.0.1:9470/metrics")

    def counted() -> bool:
        lines = watch.office.world.run("pc", *fetch).stdout.splitlines()
        return any(line.startswith("wanwatch_probe_rtt_seconds_count") and line.split()[-1] != "0.0" for line in lines)

    wait_until(counted, "the first sample", within_s=30)
    return time.monotonic() - begun


def watched_quietly(minutes: float) -> dict[str, object]:
    """Let the daemon watch two good lines for so long, and return what it cost and claimed."""
    with tempfile.TemporaryDirectory(prefix="wanwatch-quiet-") as folder, Office(Path(folder)) as office:
        servers.all_of(office)
        watch = Watch(office)
        first_s = first_sample_s(watch)
        time.sleep(SETTLE_S)
        before = Cost.of(watch.process.pid)
        time.sleep(max(0.0, minutes * 60 - SETTLE_S))
        after = Cost.of(watch.process.pid)
        states = watch.states()
        watch.stop()
        events = json.loads(watch.command("events", "--json"))
        elapsed_s = after.at_s - before.at_s
        return {
            "minutes": minutes,
            "events": events,
            "states": states,
            "start_to_first_sample_s": round(first_s, 2),
            "resident_mb": round(after.resident_bytes / 1e6, 1),
            "processor_percent": round(100 * (after.processor_s - before.processor_s) / elapsed_s, 2),
            "written_mb_a_day": round((after.written_bytes - before.written_bytes) / elapsed_s * DAY_S / 1e6, 1),
        }


def main() -> int:
    """Return 0 if nothing was claimed, 1 if something was."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--minutes", type=float, default=20)
    seen = watched_quietly(arguments.parse_args().minutes)
    print(json.dumps(seen, indent=2))  # noqa: T201 - a script's answer
    return 1 if seen["events"] else 0


if __name__ == "__main__":
    sys.exit(main())
