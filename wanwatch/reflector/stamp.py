"""A stateless STAMP reflector in unauthenticated mode.

Sources:     RFC 8762 sections 4.3 (what is answered) and 4.6 (senders of TWAMP Light); the packets themselves are
             in wanwatch.core.wire.stamp.
Departures:  answers to one address are limited in rate, so that a forged source gains nothing by asking here.
"""

import asyncio
import os
import time
from collections.abc import Callable
from typing import Final

from wanwatch.core.errors import WanwatchError
from wanwatch.core.wire import stamp
from wanwatch.core.wire.malformed import Malformed
from wanwatch.reflector import _clock, _socket
from wanwatch.reflector._limiter import Limiter

_BATCH: Final = 64  # datagrams a wake-up, so that a flood cannot keep the loop from everything else
_CLOCK_ASKED_EVERY_NS: Final = 1_000_000_000


class ReflectorError(WanwatchError):
    """The reflector could not listen where it was told to.

    Attributes:
        address: The address as given.
        port: The UDP port as given.
        reason: What the system said.
    """

    def __init__(self, address: str, port: int, reason: str) -> None:
        self.address, self.port, self.reason = address, port, reason
        super().__init__(
            f"reflector: cannot listen on {address} port {port}: {reason}; "
            "give an address of this machine and a free port (below 1024 only as root)"
        )


def reflect(request: bytes, *, received_unix_ns: int, sent_unix_ns: int, hop_limit: int, estimate: int) -> bytes | None:
    """Return the answer to a test packet, or None if *request* is none.

    It is exactly as large as the request: what follows the base packet is copied. Only a request shorter than the base
    packet gets more than it sent, the base packet of 44 octets, as RFC 8762 section 4.6 asks.

    Args:
        request: What came.
        received_unix_ns: When it came (wall clock): T2.
        sent_unix_ns: When the answer leaves (wall clock): T3.
        hop_limit: TTL or hop limit with which it came.
        estimate: The error estimate of both times, as the 16 bits that travel.
    """
    asked = stamp.parse_sender(request)
    if isinstance(asked, Malformed):
        return None
    answer = stamp.ReflectorPacket(
        sequence=asked.sequence,  # stateless: RFC 8762 section 4.3
        timestamp=stamp.ntp_from_unix(sent_unix_ns),
        error_estimate=estimate,
        ssid=asked.ssid,
        receive_timestamp=stamp.ntp_from_unix(received_unix_ns),
        sender_sequence=asked.sequence,
        sender_timestamp=asked.timestamp,
        sender_error_estimate=asked.error_estimate,
        sender_ttl=hop_limit,
    )
    return stamp.build_reflector(answer) + request[stamp.BASE_BYTES :]


class StampReflector:
    """One listening socket; answers from the moment it is made until `close`.

    Args:
        address: IPv4 or IPv6 address to listen on; `::` listens to both families.
        port: UDP port; 0 for any free one.
        per_s: Answers a second that one address may have.
        burst: Answers that it may have at once.

    Attributes:
        port: The port that it listens on.
        answered: Test packets that were answered.
        ignored: Datagrams that were no test packet.
        limited: Datagrams left unread because their address asks too often.

    Raises:
        ReflectorError: It cannot listen there.
    """

    def __init__(self, address: str, port: int, *, per_s: float = 1000.0, burst: int = 2000) -> None:
        try:
            self._sock = _socket.open_udp(address, port)
        except (OSError, ValueError) as error:
            reason = os.strerror(error.errno) if isinstance(error, OSError) and error.errno else str(error)
            raise ReflectorError(address, port, reason) from error
        self.port: int = self._sock.getsockname()[1]
        self.answered = self.ignored = self.limited = 0
        self._limiter = Limiter(per_s, burst)
        self._estimate, self._asked_ns = 0, -_CLOCK_ASKED_EVERY_NS
        self._loop = asyncio.get_running_loop()
        self._loop.add_reader(self._sock, self._drain)

    def close(self) -> None:
        """Stop answering and give the port back."""
        self._loop.remove_reader(self._sock)
        self._sock.close()

    def _drain(self) -> None:
        now_ns = time.monotonic_ns()
        if now_ns - self._asked_ns >= _CLOCK_ASKED_EVERY_NS:
            self._estimate, self._asked_ns = _clock.error_estimate(_clock.ask_kernel()).word(), now_ns
        for _ in range(_BATCH):
            datagram = _socket.receive(self._sock, time.time_ns)
            if datagram is None:
                return
            self._answer(datagram, now_ns)

    def _answer(self, datagram: _socket.Datagram, now_ns: int) -> None:
        if not self._limiter.allow(datagram.peer[0], now_ns):
            self.limited += 1
            return
        answer = reflect(
            datagram.data,
            received_unix_ns=datagram.received_unix_ns,
            sent_unix_ns=time.time_ns(),
            hop_limit=datagram.hop_limit,
            estimate=self._estimate,
        )
        if answer is None:
            self.ignored += 1
        elif _socket.send_back(self._sock, answer, datagram):
            self.answered += 1


async def serve_stamp(
    address: str, port: int = stamp.PORT, *, on_ready: Callable[[StampReflector], None] = lambda _reflector: None
) -> None:
    """Reflect until cancelled.

    Args:
        address: IPv4 or IPv6 address to listen on; `::` listens to both families.
        port: UDP port; 0 for any free one.
        on_ready: Called once, when it listens.

    Raises:
        ReflectorError: It cannot listen there.
    """
    reflector = StampReflector(address, port)
    try:
        on_ready(reflector)
        await asyncio.get_running_loop().create_future()
    finally:
        reflector.close()
