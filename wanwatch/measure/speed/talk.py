"""One connection of a speed test: asks, and then moves one body, from or into one buffer that all connections share.

Sources:     RFC 9112 (format); RFC 6750 section 2.1 (bearer token).
Departures:  a download speaks HTTP/1.0, to which nobody may answer in chunks (RFC 9112 section 7.1), so that each byte
             of the body is a byte that was asked for.
"""

import asyncio
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final, cast

from wanwatch.core.account.speed import STEADY_BINS
from wanwatch.core.account.speed_result import Direction, Ending
from wanwatch.core.wire.tcp_info import TcpInfo
from wanwatch.measure.speed.answer import END, MOST_HEAD_BYTES, Body, Trouble, read_answer
from wanwatch.measure.speed.job import Job

BUFFER_BYTES: Final = 1 << 18


@dataclass(slots=True)
class Load:
    """What all connections of a run share.

    Attributes:
        job: What is run.
        now_ns: The monotonic clock.
        buffer: What is read into, or sent from; nobody looks at what is in it.
        moved: Payload bytes read, or handed to the kernel.
        body_ns: Time that ended bodies took, over all connections.
    """

    job: Job
    now_ns: Callable[[], int]
    buffer: memoryview
    moved: int = 0
    body_ns: int = 0

    @property
    def left(self) -> int:
        """How many bytes may still be moved."""
        return max(0, self.job.most_bytes - self.moved)


@dataclass(slots=True, eq=False)
class Talk(asyncio.BufferedProtocol):
    """The protocol of one connection.

    Attributes:
        load: What it shares with the others.
        begun: Done once its body is under way, or never will be.
        over: Done once its body has ended: None where all is well, else the trouble.
    """

    load: Load
    begun: asyncio.Future[None] = field(default_factory=lambda: asyncio.get_running_loop().create_future())
    over: asyncio.Future[Trouble | None] = field(default_factory=lambda: asyncio.get_running_loop().create_future())
    transport: asyncio.Transport | None = None
    _head: bytes = b""
    _answer: Body | None = None
    _left: int | None = None  # of a body whose length is known
    _paused: bool = False
    _since_ns: int | None = None
    _gaps: deque[tuple[int, int]] = field(default_factory=lambda: deque(maxlen=STEADY_BINS))

    def beyond_gap(self, info: TcpInfo) -> int:
        """Return how many payload bytes have come in beyond a gap; to be called once a mark.

        The kernel does not tell. But all segments together are more than what came in order by what waits beyond a gap
        and by what came twice or was not full; and the latter two only grow. So what the difference was at its least
        within the last second is theirs, unless a gap lasted all that time; then too little is returned. Where
        nothing came out of order in that second there is no gap.
        """
        if info.segments_in is None or info.their_mss is None or info.received is None or info.out_of_order is None:
            return 0
        surplus = info.segments_in * info.their_mss - info.received
        self._gaps.append((surplus, info.out_of_order))
        if self._gaps[0][1] == info.out_of_order:
            return 0
        return min(surplus - min(self._gaps)[0], info.receive_window or 0)

    @property
    def body_ns(self) -> int:
        """How long its body has been under way so far."""
        return 0 if self._since_ns is None else self.load.now_ns() - self._since_ns

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Ask at once."""
        # The class that asyncio uses is no subclass of the one that it documents.
        self.transport = cast("asyncio.Transport", transport)
        job = self.load.job
        if job.direction is Direction.DOWN:
            self.transport.write(_request(job, "GET", "1.0"))
            return
        self._left = job.most_bytes
        self.transport.write(_request(job, "POST", "1.1", f"Content-Length: {self._left}"))
        self._begin()
        self._pour()

    def stop(self) -> None:
        """Close at once, and keep what was learnt of the body's time."""
        self._end(None)
        if self.transport is not None:
            self.transport.abort()

    def get_buffer(self, sizehint: int) -> memoryview:
        """Hand out the one buffer."""
        del sizehint
        return self.load.buffer

    def buffer_updated(self, nbytes: int) -> None:
        """Count what came, once the head is over."""
        if self._answer is not None:
            self._came(nbytes)
            return
        self._head += self.load.buffer[:nbytes]
        while END in self._head:
            head, _, self._head = self._head.partition(END)
            answer = read_answer(head)
            if answer is not None:  # else an interim one: the head that counts follows
                self._answered(answer, len(self._head))
                return
        if len(self._head) > MOST_HEAD_BYTES:
            self._end(Trouble(Ending.MALFORMED, "its head has no end"))

    def pause_writing(self) -> None:
        """Wait: the kernel has enough."""
        self._paused = True

    def resume_writing(self) -> None:
        """Go on."""
        self._paused = False
        self._pour()

    def connection_lost(self, exc: Exception | None) -> None:
        """Judge whether the far end kept its word."""
        if exc is not None:
            self._end(Trouble(Ending.RESET, getattr(exc, "strerror", None) or str(exc)))
        elif self._answer is None:
            self._end(Trouble(Ending.RESET, "it was closed without an answer"))
        elif self._left:
            self._end(Trouble(Ending.SHORT, f"{self._left} bytes of the body were not moved"))
        else:
            self._end(None)

    def _answered(self, answer: Body | Trouble, already: int) -> None:
        if isinstance(answer, Trouble):
            self._end(answer)
        elif self.load.job.direction is Direction.UP:
            left = self._left or 0
            self._end(Trouble(Ending.SHORT, f"it answered with {left} bytes still to come") if left else None)
        else:
            self._answer = answer
            self._left = answer.length
            self._begin()
            self._came(already)

    def _begin(self) -> None:
        self._since_ns = self.load.now_ns()
        if not self.begun.done():
            self.begun.set_result(None)

    def _came(self, nbytes: int) -> None:
        self.load.moved += nbytes
        if self._left is not None:
            self._left -= nbytes
            if self._left < 0:
                self._end(Trouble(Ending.SHORT, f"{-self._left} bytes more than announced came"))
            elif self._left == 0:
                self._end(None)
        if not self.load.left and self.transport is not None:
            self.transport.pause_reading()  # the cap is hard

    def _pour(self) -> None:
        size = min(self._left or 0, self.load.left, BUFFER_BYTES)
        if self._paused or not size or self.transport is None or self.over.done():
            return
        self._left = (self._left or 0) - size
        self.load.moved += size
        self.transport.write(self.load.buffer[:size])
        asyncio.get_running_loop().call_soon(self._pour)  # the other connections' turn

    def _end(self, trouble: Trouble | None) -> None:
        if self.over.done():  # also where nobody waits any longer
            return
        self.load.body_ns += self.body_ns
        self._since_ns = None
        if not self.begun.done():
            self.begun.set_result(None)
        self.over.set_result(trouble)


def _request(job: Job, method: str, version: str, *more: str) -> bytes:
    lines = [
        f"{method} {job.path} HTTP/{version}", f"Host: {job.authority}", "User-Agent: wanwatch", "Accept: */*",
        "Accept-Encoding: identity", "Connection: close", *more,
    ]  # fmt: skip
    if job.direction is Direction.UP:
        lines.append("Content-Type: application/octet-stream")
    if job.token is not None:
        lines.append(f"Authorization: Bearer {job.token}")
    return "".join(f"{line}\r\n" for line in (*lines, "")).encode()
