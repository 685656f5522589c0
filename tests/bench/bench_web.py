"""What a crowd before the pages does to probing: how late sends are beside it, and without anybody, in one run.

Usage: python -m tests.bench.bench_web [SECONDS]

Twenty series at ten sends a second, by the daemon's own pacer; the pages are served by the same process, and asked for
by another one: 500 event streams that are idle, a change that all 500 read the page for, then slow requests, answers
that nobody reads and two bodies of 100 MB. Of each is told how late sends were, how many were left out, and the most
processor time that passed between two turns of the loop.
"""

import asyncio
import json
import sys
import tempfile
from collections.abc import Awaitable, Callable
from pathlib import Path

from tests.bench.bench_metrics import lateness
from tests.web.pressed import EVERY_NS, ONLOOKERS, TURNS, Sends, crowded
from wanwatch.core.model import NS_PER_S
from wanwatch.web.app import happened


async def measured(seconds: float, begin: Callable[[], Awaitable[object]] | None = None) -> dict[str, object]:
    """Return what sends were like for so long after something has begun."""
    sends = Sends()

    async def going_on() -> None:
        if begin is not None:
            await begin()
        await asyncio.sleep(seconds)

    loop = asyncio.get_running_loop()
    with sends.going():
        begun_s = loop.time()
        held = await lateness(going_on)
        due = (loop.time() - begun_s) * TURNS * NS_PER_S / EVERY_NS
    late = {f"send_late_{name}_ms": round(sends.late_ms(share), 2) for name, share in (("p50", 0.5), ("p99", 0.99))}
    left_out = max(0.0, 1 - len(sends.late_ns) / due)
    return late | {
        "send_late_worst_ms": round(sends.late_ms(1), 2),
        "left_out_share": round(left_out, 3),
        "held_cpu_worst_ms": held["held_cpu_worst_ms"],
    }


async def main() -> None:
    """Print one JSON object."""
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 5.0
    told: dict[str, object] = {"nobody": await measured(seconds)}
    with tempfile.TemporaryDirectory() as folder:
        async with crowded(Path(folder)) as (app, crowd):
            await crowd.do(f"look {ONLOOKERS}")
            told["idle_streams"] = await measured(seconds)

            async def change() -> None:
                happened(app, "state", "fibre")

            told["a_change"] = await measured(seconds, change)
            told["pressed"] = await measured(seconds, lambda: crowd.do("press"))
            told["crowd"] = await crowd.do("tell")
    print(json.dumps(told, indent=2))  # noqa: T201 - a script's answer


if __name__ == "__main__":
    asyncio.run(main())
