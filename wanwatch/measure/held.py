"""One connection that is held open: a numbered line is sent on it each time, and its echo timed.

Sources:     RFC 862 (TCP Echo Protocol); RFC 1122 section 4.2.3.5 (how long TCP tries before it gives up).

Whatever the network does, TCP sends a line again until it is acknowledged. So an echo may come long after its waiting
time, though the connection lives: its probe is lost, and the echo an afterword. A connection ends when somebody refuses
it or TCP gives up; the lines that wait are refused then, and the next probe opens another one. That probe's round trip
is that of the handshake and the first line together. While it is opening nothing else is asked, and after a refusal
each further attempt waits twice as long, up to a minute; an attempt that meets silence has waited already.

Facts told: connection (its number, never used twice by a process) and age_ns (since it was opened), of every probe
that was sent on one; opened (True) of the one that opened it.
"""

import asyncio
import socket
from collections.abc import Callable, Coroutine
from itertools import count
from typing import Final, cast

from wanwatch.core.model import NS_PER_S, Cause, Json, Observation, Outcome, Question, Sample
from wanwatch.measure import attempt
from wanwatch.measure.attempt import Attempt, Finding
from wanwatch.measure.flights import OLDEST, Flights, Reading, Track
from wanwatch.measure.lane import Ground
from wanwatch.measure.sockets import resolve
from wanwatch.measure.stream import connect

GIVE_UP_MS: Final = 100_000
"""RFC 1122 section 4.2.3.5: TCP shall try for at least 100 seconds."""
_LONGEST_REST_NS: Final = 60 * NS_PER_S
_MOST_UNREAD_BYTES: Final = 64
_FIRST: Final = 0

Spawn = Callable[[Coroutine[None, None, None]], None]


class Held:
    """The connection of one question, again and again.

    Args:
        ground: Clock and listener.
        question: What is asked.
        spawn: Runs the opening of a connection beside everything else.
        ended: Called once nothing of it is left, after it was told to retire.
    """

    _numbers = count(1)

    def __init__(self, ground: Ground, question: Question, spawn: Spawn, *, ended: Callable[["Held"], None]) -> None:
        self._ground = ground
        self._question = question
        self._spawn = spawn
        self._ended = ended
        self._line: _Line | None = None
        self._opening = False
        self._retired = False
        self._rest_ns = self._rested_ns = 0

    def ask(self) -> None:
        """Send one probe: a line on the connection, or what opens one."""
        if self._line is not None:
            self._line.ask()
        elif not self._opening and self._ground.clock.now_ns() >= self._rested_ns:
            self._opening = True
            self._spawn(self._open())

    def retire(self) -> None:
        """Send nothing more; close as soon as no probe is remembered."""
        self._retired = True
        self._end_if_done()

    def close(self) -> None:
        """Close at once; what is under way is not told, since nobody looks any longer."""
        if self._line is not None:
            self._line.close()
            self._line = None

    def forget(self, line: "_Line") -> None:
        """The connection *line* broke, or remembers no probe any more."""
        if line.broken and self._line is line:
            self._line = None
        self._end_if_done()

    def _end_if_done(self) -> None:
        if self._retired and not self._opening and (self._line is None or self._line.idle):
            self.close()
            self._ended(self)

    async def _open(self) -> None:
        said: list[Sample] = []
        try:
            await attempt.run(Ground(self._ground.clock, lambda seen: _keep(said, seen)), self._question, self._first)
        finally:
            self._opening = False
        for sample in said:
            refused = sample.outcome is Outcome.REFUSED
            self._rest_ns = min(2 * self._rest_ns or self._question.every_ns, _LONGEST_REST_NS) if refused else 0
            self._rested_ns = sample.known_ns + self._rest_ns
            self._ground.tell(sample)
        self._end_if_done()

    async def _first(self, opening: Attempt) -> Finding:
        question = self._question
        sock = await connect(question.pin, question.address, question.port or 0)
        line = _Line(self._ground, question, next(self._numbers), self.forget)
        try:
            sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT, GIVE_UP_MS)
            await asyncio.get_running_loop().create_connection(lambda: line, sock=sock)
        except BaseException:
            sock.close()
            raise
        self._line = line
        opening.facts.update(line.facts, opened=True)
        await line.opened
        return Finding(Outcome.ANSWERED)


def _keep(said: list[Sample], seen: Observation) -> None:
    if isinstance(seen, Sample):
        said.append(seen)


class _Line(asyncio.Protocol):
    """One connection, from its opening to its end.

    Attributes:
        opened: Done once its first line came back; failed if it broke before.
        broken: Whether it has ended.
    """

    def __init__(self, ground: Ground, question: Question, number: int, forget: Callable[["_Line"], None]) -> None:
        self._ground = ground
        self._forget = forget
        self._number = number
        self._opened_ns = ground.clock.now_ns()
        _, to = resolve(question.address, question.port or 0)
        self._track = Track(question.series, to, question.timeout_ns)
        self._flights = Flights(self._tell)
        self._key = _FIRST
        self._unread = b""
        self._timer: asyncio.TimerHandle | None = None
        self.opened: asyncio.Future[None] = asyncio.get_running_loop().create_future()
        self.opened.add_done_callback(_seen)
        self.broken = False

    @property
    def facts(self) -> dict[str, Json]:
        """What is told of every probe on it."""
        return {"connection": self._number, "age_ns": self._ground.clock.now_ns() - self._opened_ns}

    @property
    def idle(self) -> bool:
        """Whether no probe is remembered."""
        return not self._flights

    def ask(self) -> None:
        """Send the next line, as one probe."""
        self._key += 1
        sent_unix_ns, sent_ns = self._ground.clock.now_unix_ns(), self._ground.clock.now_ns()
        self._flights.launch(self._track, self._key, sent_ns, sent_unix_ns)
        self._transport.write(_written(self._key))
        self._arm()

    def close(self) -> None:
        """End it, and tell nothing more of it."""
        self._flights = Flights(lambda _seen: None)
        if self._timer is not None:
            self._timer.cancel()
        self._transport.abort()

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        self._transport = cast("asyncio.Transport", transport)  # asyncio's class is none of its documented ones
        self._transport.write(_written(_FIRST))

    def data_received(self, data: bytes) -> None:
        now_ns, now_unix_ns = self._ground.clock.now_ns(), self._ground.clock.now_unix_ns()
        *lines, self._unread = (self._unread + data).split(b"\n")
        for line in lines:
            if (key := _read(line, self._key)) is None:
                self._spoil(now_ns, now_unix_ns)
                return
            if key == _FIRST and not self.opened.done():
                self.opened.set_result(None)
            self._flights.settle(Reading(key), self._track.to, now_ns, now_unix_ns)
        if len(self._unread) > _MOST_UNREAD_BYTES:
            self._spoil(now_ns, now_unix_ns)

    def connection_lost(self, exc: Exception | None) -> None:
        del exc  # refused, given up or closed in peace: whoever used it has to open another one
        self.broken = True
        if not self.opened.done():
            self.opened.set_exception(ConnectionResetError(104, "the connection ended"))
        now_ns, now_unix_ns = self._ground.clock.now_ns(), self._ground.clock.now_unix_ns()
        self._flights.expire(now_ns)
        for _ in range(len(self._flights)):
            self._flights.settle(Reading(OLDEST, Outcome.REFUSED, Cause.RESET), self._track.to, now_ns, now_unix_ns)
        if self._timer is not None:
            self._timer.cancel()
        self._forget(self)

    def _spoil(self, now_ns: int, now_unix_ns: int) -> None:
        """What came back is none of our lines: this is no echo, and what follows cannot be told apart."""
        self._flights.settle(Reading(OLDEST, Outcome.MALFORMED), self._track.to, now_ns, now_unix_ns)
        self._transport.abort()

    def _sweep(self) -> None:
        self._flights.expire(self._ground.clock.now_ns())
        self._arm()
        if self.idle:
            self._forget(self)

    def _arm(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None
        if (due_ns := self._flights.next_ns()) is not None:
            wait_s = max(0, due_ns - self._ground.clock.now_ns()) / NS_PER_S
            self._timer = asyncio.get_running_loop().call_later(wait_s, self._sweep)

    def _tell(self, seen: Observation) -> None:
        self._ground.tell(
            seen._replace(facts={**(seen.facts or {}), **self.facts}) if isinstance(seen, Sample) else seen
        )


def _written(key: int) -> bytes:
    return b"%07d\n" % key


def _read(line: bytes, latest: int) -> int | None:
    """Return the number of a line of ours; None if it is none that was sent."""
    key = int(line) if line.isdigit() and len(line) < _MOST_UNREAD_BYTES else None
    return key if key is not None and key <= latest and _written(key) == line + b"\n" else None


def _seen(opened: asyncio.Future[None]) -> None:
    """Look at what came of it, so that nobody complains where the waiting time was over before."""
    if not opened.cancelled():
        opened.exception()
