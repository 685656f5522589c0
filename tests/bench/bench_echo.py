"""Echo engine against a bare C loop and ping, in one run, through one pair of network namespaces.

    python tests/bench/bench_echo.py [PROBES]       # as root; 1,000,000 by default

Prints CPU a probe and its ratio to C's, the median round-trip time beside ping's, and probes lost that were not; then
how late probes of 1,000 series at one a second are sent while another process keeps a core busy.
"""

import asyncio
import json
import re
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.bench.pair import ADDRESS, pair, say, sh
from wanwatch.clock import RealClock
from wanwatch.core.model import NS_PER_S, Kind, Observation, Outcome, Pin, Question, Role, Sample, Series
from wanwatch.measure.measurer import Measurer

HERE, THERE = "wwbench-a", "wwbench-b"
RATE = 20_000
SERIES = 200
RUNS = 2


def question(number: int, every_ns: int) -> Question:
    """One of many series to the same address."""
    series = Series("fibre", f"t{number}", Kind.ECHO, Role.LINE)
    return Question(series, Pin(interface="line"), ADDRESS, None, every_ns, every_ns, 2 * NS_PER_S)


def cpu_s() -> float:
    """CPU seconds that this process has used."""
    used = resource.getrusage(resource.RUSAGE_SELF)
    return used.ru_utime + used.ru_stime


async def engine(probes: int) -> dict[str, float]:
    """Probe at full rate; runs inside the namespace."""
    outcomes = dict.fromkeys(Outcome, 0)
    rtts: list[int] = []

    def tell(seen: Observation) -> None:
        if isinstance(seen, Sample):
            outcomes[seen.outcome] += 1
            if seen.rtt_ns is not None:
                rtts.append(seen.rtt_ns)

    measurer = Measurer(RealClock(), tell)
    began_s = cpu_s()
    await measurer.apply([question(number, SERIES * NS_PER_S // RATE) for number in range(SERIES)])
    while sum(outcomes.values()) < probes:  # noqa: ASYNC110 - an event would cost the engine what is being measured
        await asyncio.sleep(0.1)
    told = sum(outcomes.values())
    used_s = cpu_s() - began_s
    await measurer.apply([])
    await asyncio.sleep(2.2)  # the last waiting times end
    await measurer.close()
    kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    not_answered = sum(outcomes.values()) - outcomes[Outcome.ANSWERED]
    median_us = statistics.median(rtts) / 1e3
    return {
        "cpu_us": used_s / told * 1e6,
        "median_us": median_us,
        "not_answered": not_answered,
        "told": told,
        "mb": kb / 1024,
    }


async def timeliness(seconds: int) -> dict[str, float]:
    """How late 1,000 series at one a second are sent; runs inside the namespace."""
    sent: dict[str, list[int]] = {}

    def tell(seen: Observation) -> None:
        if isinstance(seen, Sample):
            sent.setdefault(seen.series.target, []).append(seen.sent_ns)

    measurer = Measurer(RealClock(), tell)
    await measurer.apply([question(number, NS_PER_S) for number in range(1000)])
    busy = subprocess.Popen((sys.executable, "-c", "while True: pass"))  # noqa: ASYNC220 - starts once, before the clock runs
    await asyncio.sleep(seconds)
    busy.kill()
    busy.wait()
    await measurer.close()
    # A series' sends lie on one grid of whole seconds; its earliest place in the second stands for the grid.
    late: list[float] = []
    for times in sent.values():
        places = [(at - times[0] + NS_PER_S // 2) % NS_PER_S for at in times]
        late += [(place - min(places)) / 1e6 for place in places]
    late.sort()
    return {"p99_ms": late[len(late) * 99 // 100], "max_ms": late[-1], "sends": len(late)}


def inside(what: str, number: int) -> dict[str, float]:
    """Run one of the two above in the namespace."""
    said = sh("ip", "netns", "exec", HERE, sys.executable, __file__, what, str(number))
    return dict(json.loads(said))


def bare(loop: Path, batch: int) -> tuple[float, float]:
    """CPU microseconds a probe and median round trip of the C loop, with *batch* probes at each wake-up."""
    said = sh("ip", "netns", "exec", HERE, str(loop), ADDRESS, str(RATE), "100000", str(batch))
    cpu_us, median_us, _ = map(float, said.split())
    return cpu_us, median_us


def ping_median_us() -> float:
    """The median that ping finds on the same path."""
    said = sh("ip", "netns", "exec", HERE, "ping", "-n", "-i", "0.002", "-c", "1000", ADDRESS)
    return statistics.median(float(found) * 1e3 for found in re.findall(r"time=([0-9.]+) ms", said))


def main(probes: int) -> None:
    """Build, run everything, print."""
    with tempfile.TemporaryDirectory() as folder:
        loop = Path(folder) / "echo_loop"
        sh(shutil.which("cc") or "cc", "-O2", "-o", str(loop), str(Path(__file__).with_name("echo_loop.c")))
        with pair(HERE, THERE):
            # The kernel answers 1000 echoes a second by default.
            limits = ("net.ipv4.icmp_ratemask=0", "net.ipv4.icmp_msgs_per_sec=1000000")
            sh("ip", "netns", "exec", THERE, "sysctl", "-qw", *limits)
            for run in range(RUNS):
                one_us, _ = bare(loop, 1)
                many_us, c_median_us = bare(loop, RATE // 1000)
                ours = inside("engine", probes if run == 0 else min(probes, 200_000))
                ping_us = ping_median_us()
                say(
                    f"CPU a probe: engine {ours['cpu_us']:.1f} us; "
                    f"C with a wake-up for each probe {one_us:.1f} us, ratio {ours['cpu_us'] / one_us:.2f}; "
                    f"C with a wake-up each millisecond {many_us:.1f} us, ratio {ours['cpu_us'] / many_us:.2f}"
                )
                say(
                    f"median round trip: C {c_median_us:.1f} us, engine {ours['median_us']:.1f} us, "
                    f"ping {ping_us:.1f} us; "
                    f"not answered: {ours['not_answered']:.0f} of {ours['told']:.0f}; {ours['mb']:.0f} MB"
                )
            late = inside("timeliness", 10)
            say(f"lateness of {late['sends']:.0f} sends: p99 {late['p99_ms']:.2f} ms, max {late['max_ms']:.2f} ms")


if __name__ == "__main__":
    match sys.argv[1:]:
        case ["engine", number]:
            say(json.dumps(asyncio.run(engine(int(number)))))
        case ["timeliness", number]:
            say(json.dumps(asyncio.run(timeliness(int(number)))))
        case [number]:
            main(int(number))
        case _:
            main(1_000_000)
