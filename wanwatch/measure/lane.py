"""The datagram engine: one pinned socket, the probes under way on it, and the codec that reads them."""

import asyncio
import math
import socket
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, NamedTuple

from wanwatch.core.model import NS_PER_S, Observation, Outcome, Pin, Sample
from wanwatch.core.ports import Clock
from wanwatch.measure.codecs import Codec, refusal
from wanwatch.measure.flights import Flight, Flights, Track
from wanwatch.measure.sockets import (
    CONTROL_BYTES,
    dropped,
    index_of,
    is_own,
    not_sent_cause,
    read_refusal,
    stamp_unix_ns,
)

_PACKET_BYTES: Final = 4096
_BATCH: Final = 256
_MOST_BATCHES: Final = 64


class Opened(NamedTuple):
    """A socket and the codec for it."""

    socket: socket.socket
    codec: Codec


@dataclass(frozen=True, slots=True)
class Ground:
    """What all lanes of a measurer share."""

    clock: Clock
    tell: Callable[[Observation], None]


def not_sent(ground: Ground, track: Track, pin: Pin, error: OSError) -> None:
    """Tell that a probe of *track* could not be sent, and why."""
    now_ns, now_unix_ns = ground.clock.now_ns(), ground.clock.now_unix_ns()
    cause = not_sent_cause(error, pin)
    ground.tell(Sample(track.series, now_ns, now_unix_ns, now_ns, Outcome.NOT_SENT, cause=cause))


class Lane:
    """One pinned socket and its probes.

    The socket is made at the first probe, and made anew when the interface that it is pinned to was replaced; until
    that works, each probe is told as not sent, so a link that returns is asked again by itself.

    Args:
        ground: Clock and listener.
        pin: How the socket leaves.
        opener: Makes the socket and its codec; may raise OSError.
        elsewhere: Called with a probe whose answer has to be fetched another way.
        emptied: Called once a retired lane has closed.
    """

    def __init__(
        self,
        ground: Ground,
        pin: Pin,
        opener: Callable[[], Opened],
        *,
        elsewhere: Callable[[Flight], None] | None = None,
        emptied: Callable[["Lane"], None] | None = None,
    ) -> None:
        self._ground = ground
        self._clock = ground.clock
        self._pin = pin
        self._opener = opener
        self._elsewhere = elsewhere
        self._emptied = emptied
        self._flights = Flights(ground.tell)
        self._opened: Opened | None = None
        self._index: int | None = None
        self._key = 0
        self._dropped = 0
        self._deaf_ns = 0
        self._timer: asyncio.TimerHandle | None = None
        self._due_ns: float = math.inf
        self._retired = False

    def ask(self, track: Track) -> None:
        """Send one probe of *track*."""
        clock = self._clock
        try:
            opened = self._opened or self._open()
            sent_unix_ns = clock.now_unix_ns()
            packet = opened.codec.encode(self._key, sent_unix_ns)
            sent_ns = clock.now_ns()
            try:
                opened.socket.sendto(packet, track.to)
            except OSError:
                self._send_again(packet, track)
        except OSError as error:
            not_sent(self._ground, track, self._pin, error)
            return
        self._flights.launch(track, self._key, sent_ns, sent_unix_ns)
        self._key += 1
        if sent_ns + track.timeout_ns < self._due_ns:
            self._arm()

    def retire(self) -> None:
        """Send nothing more; close as soon as no probe is remembered."""
        self._retired = True
        self._close_if_done()

    def close(self) -> None:
        """Close at once; what is under way is not told, since nobody looks any longer."""
        if self._timer is not None:
            self._timer.cancel()
        self._shut()

    def receive(self) -> None:
        """Take in everything that has arrived, within reason, and learn whether anything found no room here."""
        for _ in range(_MOST_BATCHES):
            if self._opened is None or not self._take_batch(self._opened):
                break
        if self._opened is not None and (now_dropped := dropped(self._opened.socket)) != self._dropped:
            self._dropped, self._deaf_ns = now_dropped, self._clock.now_ns()

    def sweep(self) -> None:
        """Take in what has arrived, then count as lost what has waited too long."""
        self.receive()  # an answer that lies here unread is not lost
        self._flights.expire(self._clock.now_ns(), self._deaf_ns)
        self._arm()
        self._close_if_done()

    def _open(self) -> Opened:
        self._index = index_of(self._pin)
        self._dropped = 0
        opened = self._opened = self._opener()
        asyncio.get_running_loop().add_reader(opened.socket.fileno(), self._take_batch, opened)
        return opened

    def _shut(self) -> None:
        if self._opened is not None:
            asyncio.get_running_loop().remove_reader(self._opened.socket.fileno())
            self._opened.socket.close()
            self._opened = None

    def _send_again(self, packet: bytes, track: Track) -> None:
        # The error may be news of an earlier probe, which the kernel hands out at the next call whatever it is.
        if self._opened is not None:
            self._take_errors(self._opened)
        if self._pin.interface is not None and index_of(self._pin) != self._index:
            self.receive()
            self._shut()
            packet = self._open().codec.encode(self._key, self._clock.now_unix_ns())
        if self._opened is not None:
            self._opened.socket.sendto(packet, track.to)

    def _take_batch(self, opened: Opened) -> bool:
        """Take in a bounded number of replies; tell whether there may be more."""
        self._take_errors(opened)
        receive, clock, decode, settle = opened.socket.recvmsg, self._clock, opened.codec.decode, self._flights.settle
        for _ in range(_BATCH):
            try:
                packet, control, _, sender = receive(_PACKET_BYTES, CONTROL_BYTES)
            except BlockingIOError:
                return False
            except OSError:
                self._take_errors(opened)  # news of an earlier probe again
                continue
            now_ns, now_unix_ns = clock.now_ns(), clock.now_unix_ns()
            reading = decode(packet, now_unix_ns)
            if reading is not None:
                taken = settle(reading, sender, now_ns, now_unix_ns, stamp_unix_ns(control))
                if taken is not None and self._elsewhere is not None:
                    self._elsewhere(taken)
        return True

    def _take_errors(self, opened: Opened) -> None:
        for _ in range(_BATCH):
            try:
                refused = read_refusal(opened.socket)
            except OSError:
                return
            if refused is None or (refused.by != refused.toward[0] and is_own(refused.by)):
                # Our own kernel found no neighbour to hand the probe to: nobody answered, and so it counts.
                continue
            reading = refusal(opened.codec, refused)
            if reading is not None:
                now_ns, now_unix_ns = self._clock.now_ns(), self._clock.now_unix_ns()
                self._flights.settle(reading, refused.toward, now_ns, now_unix_ns)

    def _arm(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None
        due_ns = self._flights.next_ns()
        self._due_ns = math.inf if due_ns is None else due_ns
        if due_ns is not None:
            wait_s = max(0, due_ns - self._clock.now_ns()) / NS_PER_S
            self._timer = asyncio.get_running_loop().call_later(wait_s, self.sweep)

    def _close_if_done(self) -> None:
        if self._retired and not self._flights:
            self.close()
            if self._emptied is not None:
                self._emptied(self)
