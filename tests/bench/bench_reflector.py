"""The reflector against a bare C loop that echoes, in one run, through one pair of network namespaces.

    python tests/bench/bench_reflector.py [SECONDS]       # as root; seconds of each measurement, 3 by default

Prints, for each mode of STAMP and for the C loop: packets a second as fast as answers come, packets a second of CPU,
and what is lost at half of that rate; what malformed packets cost beside well-formed ones; and how fast bytes go down
and up.
"""

import asyncio
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.bench.pair import ADDRESS, pair, say, sh
from wanwatch.core.wire import stamp
from wanwatch.reflector import SpeedServer, StampReflector

HERE, THERE = "wwrefl-a", "wwrefl-b"
PORT = 18_620
KEY = b"an example key of some length"
TOKEN = "a token for one run"  # noqa: S105 - of one run
TICKS: Final = os.sysconf("SC_CLK_TCK")
UNLIMITED = 10**9
FLOOD = 10_000
GIGABYTES = 4

GOOD = stamp.build_sender(stamp.SenderPacket(0, 1 << 63, 0x0001, ssid=7))
SIGNED = stamp.build_sender(stamp.SenderPacket(0, 1 << 63, 0x0001, ssid=7), KEY)
FORGED = SIGNED[:-1] + bytes([SIGNED[-1] ^ 1])
CORRUPT = GOOD[:12] + b"\0\0" + GOOD[14:]


async def serve(mode: str) -> None:
    """Reflect as *mode* says, without limits, until killed; runs inside a namespace."""
    key = KEY if mode == "signed" else None
    StampReflector(ADDRESS, PORT, key=key, stateful=mode != "stateless", per_s=UNLIMITED, burst=UNLIMITED)
    await SpeedServer(TOKEN).start(ADDRESS, PORT)
    await asyncio.get_running_loop().create_future()


@contextmanager
def running(*words: str) -> Iterator[int]:
    """A server in the far namespace; gives its process number, which `ip netns exec` hands on."""
    process = subprocess.Popen(("ip", "netns", "exec", THERE, *words))
    try:
        time.sleep(1.5)
        yield process.pid
    finally:
        process.kill()
        process.wait()


def cpu_s(process: int) -> float:
    """CPU seconds that it has used, its part in the kernel included."""
    fields = Path(f"/proc/{process}/stat").read_text("ascii").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / TICKS


class Load:
    """What asks."""

    def __init__(self, program: Path, seconds: float) -> None:
        self._program = program
        self._seconds = seconds

    def ask(self, process: int, packet: bytes, rate: int) -> tuple[int, int, float, float]:
        """Ask *process*; number sent, number answered, seconds, and its CPU seconds."""
        before = cpu_s(process)
        words = ("ask", ADDRESS, str(PORT), str(rate), str(self._seconds))
        sent, answered, seconds = sh("ip", "netns", "exec", HERE, str(self._program), *words, given=packet).split()
        return int(sent), int(answered), float(seconds), cpu_s(process) - before

    def capacity(self, name: str, process: int, packet: bytes) -> None:
        """Print how much *process* can do, and what it loses at half of that."""
        _, answered, seconds, used = self.ask(process, packet, 0)
        rate = int(answered / seconds)
        sent, kept, _, _ = self.ask(process, packet, rate // 2)
        say(
            f"{name}: {rate} packets/s, {answered / used:.0f} packets a second of CPU ({used / answered * 1e6:.1f} us "
            f"each); at {rate // 2} packets/s lost {sent - kept} of {sent}"
        )

    def cost(self, process: int, packet: bytes) -> float:
        """CPU microseconds that one such packet costs in a flood."""
        sent, _, _, used = self.ask(process, packet, FLOOD)
        return used / sent * 1e6


def speed(source: Path) -> None:
    """Print how fast bytes go down and up."""
    curl = ("ip", "netns", "exec", HERE, "curl", "-s", "-H", f"Authorization: Bearer {TOKEN}", "-o", "/dev/null")
    url = f"http://{ADDRESS}:{PORT}"
    for _ in range(2):
        down = float(sh(*curl, "-w", "%{speed_download}", f"{url}/down?bytes={GIGABYTES * 10**9}"))
        up = float(sh(*curl, "-w", "%{speed_upload}", "-X", "POST", "-T", str(source), f"{url}/up"))
        say(f"curl down {down * 8 / 1e9:.1f} Gbit/s, up {up * 8 / 1e9:.1f} Gbit/s")


def main(seconds: float) -> None:
    """Build, run everything, print."""
    with tempfile.TemporaryDirectory(dir="/dev/shm") as folder:
        program = Path(folder) / "udp_load"
        sh(shutil.which("cc") or "cc", "-O2", "-o", str(program), str(Path(__file__).with_name("udp_load.c")))
        source = Path(folder) / "source"
        with source.open("wb") as file:
            file.truncate(GIGABYTES * 10**9)  # a hole: read as zeros, and takes no room
        load = Load(program, seconds)
        ours = (sys.executable, __file__, "serve")
        with pair(HERE, THERE):
            with running(str(program), "echo", str(PORT)) as process:
                load.capacity("C, 44 octets", process, GOOD)
            for mode, packet in (("stateless", GOOD), ("stateful", GOOD), ("signed", SIGNED)):
                with running(*ours, mode) as process:
                    load.capacity(f"STAMP {mode}, {len(packet)} octets", process, packet)
                    bad = {"corrupt": CORRUPT, "noise": b"hello"} if mode != "signed" else {"forged": FORGED}
                    costs = {name: load.cost(process, what) for name, what in ({"well-formed": packet} | bad).items()}
                    say(f"  in a flood of {FLOOD}/s: " + ", ".join(f"{k} {v:.1f} us" for k, v in costs.items()))
            with running(*ours, "stateful"):
                speed(source)


if __name__ == "__main__":
    match sys.argv[1:]:
        case ["serve", how]:
            asyncio.run(serve(how))
        case [number]:
            main(float(number))
        case _:
            main(3.0)
