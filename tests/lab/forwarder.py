"""The lab's lines: a frame forwarder between pairs of veth ends, and the truth about what it did to them.

Run inside the namespace that holds the ends: `python forwarder.py SOCKET LOG NAME=END_A,END_B...`. Frames go from A to
B on a line's `up` way and from B to A on its `down` way. Every change comes over the local socket SOCKET as JSON,
`{"line": NAME, "ways": ["up", "down"], "change": {"cut": true}}`, and is applied between two frames; the instant of
the change, on both clocks, is the answer and a line of LOG. Standard library only: it also runs where nothing is
installed. It stands in for netem, which test machines' kernels may lack.
"""

import contextlib
import heapq
import json
import os
import random
import select
import socket
import sys
import time
from dataclasses import dataclass, field
from pathlib import Path

ETH_P_ALL = 0x0003  # linux/if_ether.h
SOL_PACKET = 263  # linux/socket.h
PACKET_IGNORE_OUTGOING = 23  # linux/if_packet.h; else every forwarded frame would come back to us
FRAME_LIMIT = 65_600
QUEUE_S = 0.1
"""How much a shaped way may hold back; a frame that would wait longer is dropped, as a router's queue does."""
BURST = 64
"""Frames taken from one end before the others have their turn."""


@dataclass(slots=True)
class Way:
    """One direction of a line, and what is done to its frames."""

    out: socket.socket
    chance: random.Random
    delay_s: float = 0.0
    jitter_s: float = 0.0
    loss: float = 0.0
    cut: bool = False
    rate_bps: float = 0.0
    epoch: int = 0
    free_at: float = 0.0
    last_release: float = 0.0

    def change(self, settings: dict[str, float | bool]) -> None:
        """Apply new settings; a cut also destroys what is under way, as a severed fibre would."""
        for name, value in settings.items():
            if name not in {"delay_s", "jitter_s", "loss", "cut", "rate_bps"}:
                raise KeyError(name)
            setattr(self, name, value)
        self.epoch += bool(settings.get("cut", False))

    def release_at(self, size: int, now: float) -> float | None:
        """When a frame of *size* bytes that came at *now* leaves, or None if it never does."""
        if self.cut or (self.loss and self.chance.random() < self.loss):
            return None
        start = now
        if self.rate_bps:
            start = max(now, self.free_at)
            if start - now > QUEUE_S:
                return None
            self.free_at = start = start + size * 8 / self.rate_bps
        wobble = self.chance.uniform(-self.jitter_s, self.jitter_s) if self.jitter_s else 0.0
        # Jitter comes from queues, and a queue never lets one frame overtake another.
        self.last_release = max(self.last_release, start + max(0.0, self.delay_s + wobble))
        return self.last_release


@dataclass(slots=True)
class Forwarder:
    """All lines of one lab in one loop."""

    control: socket.socket
    log: Path
    ways: dict[tuple[str, str], Way] = field(default_factory=dict)
    takers: dict[socket.socket, Way] = field(default_factory=dict)
    waiting: list[tuple[float, int, int, Way, bytes]] = field(default_factory=list)
    count: int = 0

    def add(self, line: str, end_a: str, end_b: str) -> None:
        """Join two veth ends as one line."""
        near, far = _open(end_a), _open(end_b)
        for way, source, out in (("up", near, far), ("down", far, near)):
            # The seed is fixed, so that a loss of 30 % is the same 30 % in every run.
            self.ways[line, way] = self.takers[source] = Way(out, random.Random(f"{line} {way}"))  # noqa: S311 - not a secret

    def run(self) -> None:
        """Forward until killed."""
        sources = [self.control, *self.takers]
        while True:
            wait = max(0.0, self.waiting[0][0] - time.monotonic()) if self.waiting else None
            # select and not epoll: epoll counts whole milliseconds, and a line of 8.7 ms would become one of 9.
            ready, _, _ = select.select(sources, [], [], wait)
            for source in ready:
                if source is self.control:
                    self.obey()
                else:
                    self.take(source)
            self.give()

    def take(self, source: socket.socket) -> None:
        """Take the frames that wait at one end and decide when each leaves."""
        way = self.takers[source]
        for _ in range(BURST):
            try:
                frame = source.recv(FRAME_LIMIT)
            except (BlockingIOError, OSError):  # an end that is set down by a story tells ENETDOWN once
                return
            leaves = way.release_at(len(frame), time.monotonic())
            if leaves is not None:
                self.count += 1
                heapq.heappush(self.waiting, (leaves, self.count, way.epoch, way, frame))

    def give(self) -> None:
        """Send what is due, unless its way was cut while it was under way."""
        while self.waiting and self.waiting[0][0] <= time.monotonic():
            _, _, epoch, way, frame = heapq.heappop(self.waiting)
            if epoch == way.epoch:
                with contextlib.suppress(OSError):
                    way.out.send(frame)

    def obey(self) -> None:
        """Apply one change, note its true instant, and answer."""
        asker, _ = self.control.accept()
        with asker:
            asker.settimeout(1)  # an asker that says nothing must not hold the lines up
            request = asker.recv(FRAME_LIMIT)
            asker.send(json.dumps(self.apply(request)).encode())

    def apply(self, request: bytes) -> dict[str, object]:
        """Apply one order, and return it with its instant, or with what is wrong with it."""
        try:
            order = json.loads(request)
            for name in order["ways"]:
                self.ways[order["line"], name].change(order["change"])
            truth: dict[str, object] = order | {"at_ns": time.monotonic_ns(), "at_unix_ns": time.time_ns()}
            with self.log.open("a") as log:
                log.write(json.dumps(truth) + "\n")
        except (KeyError, ValueError) as error:
            return {"error": f"cannot obey {request!r}: {error!r}"}
        return truth


def _open(interface: str) -> socket.socket:
    """Open one veth end for whole frames in and out."""
    end = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, 0)
    end.setsockopt(SOL_PACKET, PACKET_IGNORE_OUTGOING, 1)
    end.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4 << 20)
    end.settimeout(0)
    end.bind((interface, ETH_P_ALL))
    return end


def main(arguments: list[str]) -> None:
    """Build the lines that the command line names, say that they are ready, and forward."""
    socket_path, log_path, *lines = arguments
    with contextlib.suppress(PermissionError):  # a lab without root takes its turn like anyone else
        os.nice(-15)
    with socket.socket(socket.AF_UNIX, socket.SOCK_SEQPACKET) as control:
        control.bind(f"{socket_path}.new")
        control.listen()
        Path(f"{socket_path}.new").rename(socket_path)  # who sees it can connect to it
        forwarder = Forwarder(control, Path(log_path))
        for line in lines:
            name, ends = line.split("=")
            forwarder.add(name, *ends.split(","))
        forwarder.run()


if __name__ == "__main__":
    main(sys.argv[1:])
