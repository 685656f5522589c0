"""What this machine itself was doing meanwhile: its processors and its port.

Sources: proc(5) (/proc/stat); Linux Documentation/scheduler/sched-stats.rst (/proc/PID/schedstat) and
Documentation/ABI/testing/sysfs-class-net (statistics, speed).
"""

import os
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Self

from wanwatch.core.account.speed_result import Direction
from wanwatch.core.model import NS_PER_S
from wanwatch.measure.netlink import Netlink

_UNCOUNTED_BYTES: Final = 24
"""Of each frame the counters leave out check sequence, preamble, delimiter and gap (IEEE 802.3 clauses 3 and 4)."""
_IRQ, _SOFTIRQ = 5, 6
_COUNTERS: Final = {Direction.DOWN: "rx", Direction.UP: "tx"}


def interface_of(address: str) -> str | None:
    """Return the name of the interface that holds *address*, one of ours; None if nobody says."""
    try:
        netlink = Netlink()
        try:
            index = next((found.interface for found in netlink.addresses() if found.address == address), None)
            return next((link.name for link in netlink.links() if link.interface == index), None)
        finally:
            netlink.close()
    except OSError:
        return None


@dataclass(frozen=True, slots=True)
class Gauges:
    """The gauges at one instant; None, or nothing, where the kernel does not tell.

    Attributes:
        at_ns: When (monotonic).
        busy_ns: How long this process's first thread has run, or has waited to be let run.
        processors: Of each processor: ticks spent on interrupts, and all ticks.
        port_bytes: What the interface has carried, as it is on the wire.
    """

    at_ns: int
    busy_ns: int | None
    processors: tuple[tuple[int, int], ...]
    port_bytes: int | None

    @classmethod
    def read(cls, now_ns: int, interface: str | None, direction: Direction) -> Self:
        """Read them all."""
        return cls(now_ns, _busy_ns(), _processors(), _port_bytes(interface, direction))

    def processor_since(self, before: Self) -> float | None:
        """Return the share of the time since *before* in which this process was busy."""
        passed_ns = self.at_ns - before.at_ns
        if self.busy_ns is None or before.busy_ns is None or passed_ns <= 0:
            return None
        return (self.busy_ns - before.busy_ns) / passed_ns

    def interrupts_since(self, before: Self) -> float | None:
        """Return the share that the processor which had most of them spent on interrupts."""
        pairs = zip(self.processors, before.processors, strict=False)
        shares = [(now[0] - then[0]) / (now[1] - then[1]) for now, then in pairs if now[1] > then[1]]
        return max(shares, default=None)

    def port_since(self, before: Self, port_bps: int | None) -> float | None:
        """Return the share of a port's rate that was used."""
        passed_ns = self.at_ns - before.at_ns
        if self.port_bytes is None or before.port_bytes is None or not port_bps or passed_ns <= 0:
            return None
        return (self.port_bytes - before.port_bytes) * 8 * NS_PER_S / passed_ns / port_bps


def port_bps(interface: str | None) -> int | None:
    """Return the nominal rate of an interface, in bits a second; None where it has none."""
    mbps = _number(Path("/sys/class/net", interface, "speed")) if interface else None
    return mbps * 10**6 if mbps is not None and mbps > 0 else None  # -1: unknown


def _busy_ns() -> int | None:
    try:
        ran, waited, _ = Path(f"/proc/{os.getpid()}/schedstat").read_text("ascii").split()
        return int(ran) + int(waited)
    except (OSError, ValueError):
        return None


def _processors() -> tuple[tuple[int, int], ...]:
    try:
        lines = Path("/proc/stat").read_text("ascii").splitlines()
        rows = [[int(ticks) for ticks in line.split()[1:9]] for line in lines if line[:3] == "cpu" and line[3:4] != " "]
        return tuple((row[_IRQ] + row[_SOFTIRQ], sum(row)) for row in rows)
    except (OSError, ValueError, IndexError):
        return ()


def _port_bytes(interface: str | None, direction: Direction) -> int | None:
    if interface is None:
        return None
    folder, way = Path("/sys/class/net", interface, "statistics"), _COUNTERS[direction]
    counted, packets = _number(folder / f"{way}_bytes"), _number(folder / f"{way}_packets")
    return None if counted is None or packets is None else counted + packets * _UNCOUNTED_BYTES


def _number(path: Path) -> int | None:
    try:
        return int(path.read_text("ascii"))
    except (OSError, ValueError):
        return None
