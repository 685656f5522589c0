"""The process that moves the bytes: a job as JSON on standard input, marks and a transfer on standard output.

It is a process of its own so that a test at full rate takes no turn of the loop that probes and counts.
"""

import asyncio
import os
import sys

from wanwatch.clock import RealClock
from wanwatch.core.account.speed import Mark
from wanwatch.measure.speed.job import BadJobError, Transfer, dump, read_job
from wanwatch.measure.speed.worker import Worker


def say(value: Mark | Transfer) -> None:
    """Write one line at once."""
    sys.stdout.buffer.write(dump(value))
    sys.stdout.buffer.flush()


def main() -> int:
    """Run one job; exit code 2 if it cannot be read."""
    os.nice(5)  # probing at the second's beat goes first
    try:
        job = read_job(sys.stdin.buffer.readline())
    except BadJobError as error:
        sys.stderr.write(f"{error}\n")
        return 2
    say(asyncio.run(Worker(job, RealClock(), say).run()))
    return 0


if __name__ == "__main__":
    sys.exit(main())
