"""The real daemon on a wall clock that the lab can step: SIGUSR1 puts it an hour on.

The machine's own clock cannot be stepped for this: it belongs to everybody on the machine. So the daemon's Clock is
shifted, and with it the receive stamps that the kernel takes from the wall clock.
"""

import asyncio
import logging
import signal
import sys
import time
from pathlib import Path

from wanwatch.config import load
from wanwatch.daemon import Daemon
from wanwatch.measure import lane

STEP_NS = 3600 * 1_000_000_000


class SteppedClock:
    """The machine's clocks, with the wall clock shifted."""

    def __init__(self) -> None:
        self.shift_ns = 0

    def now_ns(self) -> int:
        """Monotonic nanoseconds: no step ever touches them."""
        return time.monotonic_ns()

    def now_unix_ns(self) -> int:
        """Wall-clock nanoseconds, shifted."""
        return time.time_ns() + self.shift_ns

    def step(self, *_: object) -> None:
        """Put the wall clock on."""
        self.shift_ns += STEP_NS


def main(path: Path) -> None:
    """Run the daemon until stopped."""
    logging.basicConfig(level=logging.INFO, stream=sys.stderr)
    clock = SteppedClock()
    names = vars(lane)
    kernels_own = names["stamp_unix_ns"]

    def shifted(control: list[tuple[int, int, bytes]]) -> int | None:
        stamp: int | None = kernels_own(control)
        return None if stamp is None else stamp + clock.shift_ns

    names["stamp_unix_ns"] = shifted
    signal.signal(signal.SIGUSR1, clock.step)
    asyncio.run(Daemon(load(path), path=path, clock=clock).run())


if __name__ == "__main__":
    main(Path(sys.argv[1]))
