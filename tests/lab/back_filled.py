"""The real daemon over a record that holds an hour already, which ended some minutes ago."""

import asyncio
import os
import sys
import time
from pathlib import Path
from typing import Final

from tests.lab.watch import RUN
from tests.publish.remote_write.hours import an_hour
from wanwatch.config import load
from wanwatch.config.plan import store_path

AGO_MIN: Final = 66
"""So long ago the hour began: all of it is to be sent, and none of what the daemon sees itself meanwhile."""


def main(path: Path) -> None:
    """Keep the hour, then become the daemon."""
    begun_min = time.time_ns() // 60_000_000_000 - AGO_MIN
    asyncio.run(an_hour(store_path(load(path)), begun_min * 60_000_000_000))
    os.execv(sys.executable, [sys.executable, *RUN, str(path)])  # noqa: S606 - no shell is wanted


if __name__ == "__main__":
    main(Path(sys.argv[1]))
