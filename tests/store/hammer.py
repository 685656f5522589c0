"""A process that keeps as fast as is sensible until it is killed. Prints what it kept: ids of events and letters.

Usage: python -m tests.store.hammer DATABASE RUN FLUSH_EVERY_S
"""

import asyncio
import sys
import time
from pathlib import Path

from tests.store.backends import NEAR, SITE, event, letter
from wanwatch.core.model import Outcome, Sample
from wanwatch.store import SqliteKeeper


class RealClock:
    """The machine's clocks."""

    def now_ns(self) -> int:
        """Monotonic nanoseconds."""
        return time.monotonic_ns()

    def now_unix_ns(self) -> int:
        """Wall-clock nanoseconds."""
        return time.time_ns()


async def hammer(path: Path, run: str, flush_every_s: float) -> None:
    """Thousands of samples and hundreds of events a second, without end."""
    clock = RealClock()
    keeper = SqliteKeeper(path, SITE, clock, tell_trouble=sys.exit, flush_every_s=flush_every_s)
    keeper.open()
    number = 0
    while True:
        for _ in range(5):
            keeper.sample(
                Sample(NEAR, clock.now_ns(), clock.now_unix_ns(), clock.now_ns(), Outcome.ANSWERED, 1_000_000)
            )
        one = event(f"outage-{run}-{number}", clock.now_unix_ns())
        if await keeper.event(one):
            print(one.id, flush=True)  # noqa: T201 - the parent reads it
        told = letter(f"incident-{one.id}", clock.now_unix_ns())
        if await keeper.post(told):
            print(told.notice.id, flush=True)  # noqa: T201 - likewise
        number += 1
        await asyncio.sleep(0.001)


if __name__ == "__main__":
    asyncio.run(hammer(Path(sys.argv[1]), sys.argv[2], float(sys.argv[3])))
