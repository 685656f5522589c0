"""A STAMP reflector: stateless or stateful, with a key or without.

Sources:     RFC 8762 sections 4.3 (what is answered, and how it is numbered) and 4.6 (senders of TWAMP Light); RFC 8972
             (session identifiers and TLVs); the packets themselves are in wanwatch.core.wire.
Departures:  answers to one address are limited in rate, so that a forged source gains nothing by asking here; a request
             shorter than the answer, such as a TWAMP Light sender may send, is not answered. With a key only
             authenticated packets are. What follows the base packet of a sender without a session identifier is
             padding and comes back as it is.
"""

from collections import OrderedDict
from collections.abc import Callable
from functools import partial
from typing import Final, TypeAlias

from wanwatch.clock import RealClock, wall_clock_error_us
from wanwatch.core.wire import stamp, stamp_tlv
from wanwatch.core.wire.malformed import Malformed
from wanwatch.reflector._socket import Datagram, Peer
from wanwatch.reflector._udp import UdpServer

_CLOCK_ASKED_EVERY_NS: Final = 1_000_000_000
_SESSIONS: Final = 16_384  # about 4 MB; who was quiet the longest is forgotten first

Number: TypeAlias = Callable[[stamp.SenderPacket], int]


def copied(asked: stamp.SenderPacket) -> int:
    """Return the number of a stateless reflector's answer: the sender's own (RFC 8762 section 4.3)."""
    return asked.sequence


def reflect(
    request: bytes,
    *,
    received_unix_ns: int,
    sent_unix_ns: int,
    hop_limit: int,
    estimate: int,
    key: bytes | None = None,
    number: Number = copied,
) -> bytes | None:
    """Return the answer to a test packet, or None if *request* is none, or is not authentic.

    It is exactly as large as the request: what follows the base packet comes back. Only to a request shorter than the
    base packet it is larger, the base packet of 44 octets, as RFC 8762 section 4.6 asks.

    Args:
        request: What came.
        received_unix_ns: When it came (wall clock): T2.
        sent_unix_ns: When the answer leaves (wall clock): T3.
        hop_limit: TTL or hop limit with which it came.
        estimate: The error estimate of both times, as the 16 bits that travel.
        key: The key shared with the sender, in the authenticated mode.
        number: Numbers the answer.
    """
    asked = stamp.parse_sender(request, key)
    if isinstance(asked, Malformed):
        return None
    answer = stamp.ReflectorPacket(
        sequence=number(asked),
        timestamp=stamp.ntp_from_unix(sent_unix_ns),
        error_estimate=estimate,
        ssid=asked.ssid,
        receive_timestamp=stamp.ntp_from_unix(received_unix_ns),
        sender_sequence=asked.sequence,
        sender_timestamp=asked.timestamp,
        sender_error_estimate=asked.error_estimate,
        sender_ttl=hop_limit,
    )
    base = stamp.build_reflector(answer, key)
    rest = request[len(base) :]
    return base + (stamp_tlv.reflect(rest, key, (asked.sequence, answer.sequence)) if asked.ssid and rest else rest)


class Sessions:
    """How many packets each session has sent here, in memory that a stranger cannot fill."""

    def __init__(self, most: int = _SESSIONS) -> None:
        self._most = most
        self._next: OrderedDict[tuple[str, int, int], int] = OrderedDict()

    def number(self, peer: Peer, asked: stamp.SenderPacket) -> int:
        """Return the number of a session's next answer: 0, 1, 2 ... (RFC 8762 section 4.3).

        A session is the sender's address and port, and its identifier (RFC 8972 section 3).
        """
        session = peer[0], peer[1], asked.ssid
        number = self._next.pop(session, 0)
        self._next[session] = (number + 1) % (1 << 32)
        if len(self._next) > self._most:
            self._next.popitem(last=False)
        return number


class StampReflector(UdpServer):
    """Answers STAMP test packets.

    Args:
        address: As in `UdpServer`.
        port: Likewise.
        key: With a key, only packets that are authentic are answered.
        stateful: Number the answers by themselves, so that senders can tell which direction lost a packet.
        per_s: As in `UdpServer`.
        burst: Likewise.
    """

    def __init__(
        self,
        address: str,
        port: int = stamp.PORT,
        *,
        key: bytes | None = None,
        stateful: bool = False,
        per_s: float = 1000.0,
        burst: int = 2000,
    ) -> None:
        super().__init__(address, port, per_s=per_s, burst=burst)
        self._key = key
        self._sessions = Sessions() if stateful else None
        self._estimate, self._asked_ns = 0, -_CLOCK_ASKED_EVERY_NS

    def wake(self, now_ns: int) -> None:
        """Ask the kernel how far its clock is off, now and then."""
        if now_ns - self._asked_ns >= _CLOCK_ASKED_EVERY_NS:
            self._estimate, self._asked_ns = stamp.error_estimate(wall_clock_error_us()).word(), now_ns

    def reply(self, datagram: Datagram) -> bytes | None:
        """Return the answer to a test packet."""
        number = copied if self._sessions is None else partial(self._sessions.number, datagram.peer)
        return reflect(
            datagram.data,
            received_unix_ns=datagram.received_unix_ns,
            sent_unix_ns=RealClock.now_unix_ns(),
            hop_limit=datagram.hop_limit,
            estimate=self._estimate,
            key=self._key,
            number=number,
        )
