"""What a scrape costs: its size, how long it holds the event loop, and memory; beside prometheus-client alone.

Usage: python -m tests.bench.bench_metrics [UPLINKS] [TARGETS] [SCRAPES]

Default: 200 uplinks with 5 targets each in one process, each of which answered 120 probes. A bare registry with the
same three families of probes is rendered on the loop, as a plain handler would. Of both is told how late a timer of the
loop that is due every millisecond fires while scrapes go on, while there are none (a busy machine makes it late, too),
and beside a thread that does nothing but count, which can be interrupted anywhere (how long the machine itself takes to
let threads take turns); and the most processor time that passed between two turns of the loop. Ours is scraped
compressed, as Prometheus asks for it.
"""

import asyncio
import json
import resource
import sys
import threading
import time
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Final

from aiohttp import web
from prometheus_client import CollectorRegistry, Counter, Histogram, generate_latest

from tests.fakes.web import office
from wanwatch.core.model import NS_PER_S, Kind, Outcome, Role, Sample, Series
from wanwatch.publish import Metrics
from wanwatch.publish.metrics import RTT_BUCKETS_S
from wanwatch.web.app import make_app, serve
from wanwatch.web.exposition import SWITCH_S

SITE: Final = "harbour-lane"
PROBES: Final = 120
LABELS: Final = ("site", "uplink", "target", "kind")


def series(uplinks: int, targets: int) -> list[Series]:
    """Every series of the bench."""
    return [
        Series(f"line-{uplink:03}", f"target-{target}", Kind.ECHO, Role.LINE)
        for uplink in range(uplinks)
        for target in range(targets)
    ]


def ours(asked: list[Series]) -> CollectorRegistry:
    """The daemon's metrics, after two minutes of probes."""
    metrics = Metrics(SITE, "bench")
    metrics.follow(tuple(dict.fromkeys(one.uplink for one in asked)))
    for second in range(PROBES):
        at_ns = second * NS_PER_S
        for number, one in enumerate(asked):
            rtt_ns = 8_000_000 + 1_000 * ((number * 7 + second * 13) % 4000)
            metrics.sample(Sample(one, at_ns, at_ns, at_ns + rtt_ns, Outcome.ANSWERED, rtt_ns))
        metrics.tick(at_ns)
    return metrics.registry


def alone(asked: list[Series]) -> CollectorRegistry:
    """prometheus-client's own registry with the three families of probes, and nothing else."""
    registry = CollectorRegistry()
    sent = Counter("wanwatch_probe_sent", "sent", LABELS, registry=registry)
    lost = Counter("wanwatch_probe_lost", "lost", LABELS, registry=registry)
    rtt = Histogram("wanwatch_probe_rtt_seconds", "rtt", LABELS, registry=registry, buckets=RTT_BUCKETS_S)
    for one in asked:
        labels = (SITE, one.uplink, one.target, one.kind.value)
        lost.labels(*labels)
        for probe in range(PROBES):
            sent.labels(*labels).inc()
            rtt.labels(*labels).observe(0.008 + probe / 1e6)
    return registry


def on_the_loop(registry: CollectorRegistry) -> web.Application:
    """A handler as anybody would write it."""

    async def metrics(_request: web.Request) -> web.Response:
        return web.Response(body=generate_latest(registry))

    app = web.Application()
    app.add_routes([web.get("/metrics", metrics)])
    return app


async def lateness(during: Callable[[], Awaitable[None]]) -> dict[str, object]:
    """Return how late a timer fires while something goes on, in milliseconds: median, 99th percentile, worst.

    `held_cpu_worst_ms` is the most processor time that this process used between two turns of the loop: what it held
    the loop up by itself, however busy the machine is.
    """
    late: list[float] = []
    held: list[float] = []

    async def watch() -> None:
        while True:
            due, spent = time.perf_counter() + 0.001, time.process_time()
            await asyncio.sleep(0.001)
            late.append(time.perf_counter() - due)
            held.append(time.process_time() - spent)

    watching = asyncio.create_task(watch())
    await during()
    watching.cancel()
    late.sort()
    at = {"median": len(late) // 2, "p99": len(late) * 99 // 100, "worst": -1}
    told: dict[str, object] = {f"late_{name}_ms": round(1000 * late[index], 2) for name, index in at.items()}
    return told | {"held_cpu_worst_ms": round(1000 * max(held), 2)}


async def beside_a_thread() -> None:
    """Two seconds beside a thread that counts."""
    done = threading.Event()

    def count() -> None:
        while not done.is_set():
            pass

    usual_s = sys.getswitchinterval()
    sys.setswitchinterval(SWITCH_S)
    counting = asyncio.create_task(asyncio.to_thread(count))
    await asyncio.sleep(2)
    done.set()
    await counting
    sys.setswitchinterval(usual_s)


async def scrape(url: str, times: int) -> dict[str, object]:
    """Scrape so often from a process of its own, and tell what it did to the loop."""
    reader = (sys.executable, "-c", READER, url, str(times))

    async def scraping() -> None:
        process = await asyncio.create_subprocess_exec(*reader, stdout=asyncio.subprocess.PIPE)
        said, _ = await process.communicate()
        told.update(json.loads(said))

    told: dict[str, object] = {}
    before_s = time.thread_time()
    late = await lateness(scraping)
    told["loop_cpu_ms_a_scrape"] = round(1000 * (time.thread_time() - before_s) / times, 2)
    return told | late


READER: Final = """
import json, sys, time, urllib.request
url, times = sys.argv[1], int(sys.argv[2])
took = []
for _ in range(times):
    begun = time.perf_counter()
    request = urllib.request.Request(url, headers={"Accept-Encoding": "gzip"})
    body = urllib.request.urlopen(request).read()
    took.append(time.perf_counter() - begun)
print(json.dumps({"bytes": len(body), "median_ms": round(1000 * sorted(took)[len(took) // 2], 1)}))
"""


def resident_mb() -> float:
    """The most memory that this process has had, in MB."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000


async def measure(app: web.Application, times: int) -> dict[str, object]:
    """Serve and scrape."""
    runner = await serve(app, "127.0.0.1", 0)
    try:
        return await scrape(f"http://127.0.0.1:{runner.addresses[0][1]}/metrics", times)
    finally:
        await runner.cleanup()


async def main() -> None:
    """Print one JSON object."""
    uplinks, targets, times = (int(word) for word in (*sys.argv[1:], *("200", "5", "10")[len(sys.argv) - 1 :]))
    asked = series(uplinks, targets)
    told: dict[str, object] = {"uplinks": uplinks, "targets": targets}
    told["quiet"] = await lateness(lambda: asyncio.sleep(2))
    told["beside_a_thread"] = await lateness(beside_a_thread)
    start_mb = resident_mb()
    bare = alone(asked)
    told["alone"] = await measure(on_the_loop(bare), times) | {"grew_mb": round(resident_mb() - start_mb, 1)}
    start_mb = resident_mb()
    full = ours(asked)
    told["ours"] = await measure(make_app(full, office(Path("/nowhere"))), times) | {
        "grew_mb": round(resident_mb() - start_mb, 1),
        "text_bytes": len(generate_latest(full)),
    }
    print(json.dumps(told, indent=2))  # noqa: T201 - a script's answer


if __name__ == "__main__":
    asyncio.run(main())
