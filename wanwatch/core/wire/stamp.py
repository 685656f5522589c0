"""STAMP test packets, with and without authentication: bytes to values and back.

Sources:     RFC 8762 sections 4.2 and 4.3 (layouts) and 4.4 (HMAC); RFC 8972 section 3 (session identifier); RFC 4656
             section 4.1.2 (error estimate); RFC 8186 section 2.1 (its Z bit); RFC 5905 section 6 (NTP timestamps);
             RFC 5357 section 4.2.1 (the 41 octets of an older reflector).
Departures:  timestamps stay the 64-bit words of the wire; what follows the base packet is for `stamp_tlv`.

Every builder and reader takes a *key*: with one it speaks the authenticated mode, without one the other. The two are
never mixed in a session, and a packet does not say which one it is of.
"""

import hmac
import struct
from dataclasses import dataclass
from typing import Final, NamedTuple

from wanwatch.core.model import NS_PER_S
from wanwatch.core.wire.malformed import Malformed

PORT: Final = 862
BASE_BYTES: Final = 44
"""Length of either base packet without authentication."""
SIGNED_BYTES: Final = 112
"""Length of either base packet with authentication."""
HMAC_BYTES: Final = 16
REFLECTOR_LEAST_BYTES: Final = 41
SENDER_LEAST_BYTES: Final = 14
_SENDER: Final = struct.Struct("!IQHH28x")
_REFLECTOR: Final = struct.Struct("!IQHHQIQHxxB")
_MBZ_AT_THE_END: Final = b"\0\0\0"
_SENDER_SIGNED: Final = struct.Struct("!I12xQHH68x")
_REFLECTOR_SIGNED: Final = struct.Struct("!I12xQHH4xQ8xI12xQH6xB15x")
_SYNCHRONIZED: Final = 0x8000
_PTP: Final = 0x4000

NTP_TO_UNIX_S: Final = 2_208_988_800
"""Seconds from 1900-01-01 to 1970-01-01, RFC 5905 figure 4."""
_ERA: Final = 1 << 64


@dataclass(frozen=True, slots=True)
class ErrorEstimate:
    """How far a timestamp can be trusted: multiplier times 2 to the scale, in units of 2**-32 s.

    Attributes:
        synchronized: The clock was set to UTC by an outside source (bit S).
        ptp: The timestamps are of the PTPv2 format, not NTP's (bit Z).
        scale: 0 to 63.
        multiplier: 1 to 255; 0 is not allowed.
    """

    synchronized: bool
    ptp: bool
    scale: int
    multiplier: int

    @property
    def seconds(self) -> float:
        """The estimate in seconds."""
        return self.multiplier * 2.0 ** (self.scale - 32)

    def word(self) -> int:
        """The 16 bits that travel."""
        return self.synchronized << 15 | self.ptp << 14 | self.scale << 8 | self.multiplier


def parse_error_estimate(word: int) -> ErrorEstimate | Malformed:
    """Read the 16 bits of an error estimate; a zero multiplier makes it Malformed."""
    if not word & 0xFF:
        return _NO_MULTIPLIER
    return ErrorEstimate(bool(word >> 15 & 1), bool(word >> 14 & 1), word >> 8 & 0x3F, word & 0xFF)


def error_estimate(error_us: int | None) -> ErrorEstimate:
    """Return the smallest estimate that covers *error_us*, of a clock set to UTC; None for a clock that is not."""
    if error_us is None:
        return ErrorEstimate(synchronized=False, ptp=False, scale=0, multiplier=1)
    units = max(1, (error_us << 32) // 1_000_000)
    scale = max(0, units.bit_length() - 8)
    if units > 0xFF << scale:
        scale += 1
    return ErrorEstimate(synchronized=True, ptp=False, scale=scale, multiplier=-(-units >> scale))


UNSYNCHRONIZED: Final = error_estimate(None).word()
"""What a clock that promises nothing sends."""


def ntp_from_unix(unix_ns: int) -> int:
    """Return the 64-bit NTP timestamp of *unix_ns*, its fraction truncated, its era dropped."""
    seconds, rest = divmod(unix_ns, NS_PER_S)
    return ((seconds + NTP_TO_UNIX_S << 32) + (rest << 32) // NS_PER_S) % _ERA


def timestamp_difference_ns(later: int, earlier: int, *, ptp: bool = False) -> int:
    """Return *later* - *earlier* in nanoseconds, of two timestamps of one format less than 68 years apart."""
    if ptp:
        seconds = (later >> 32) - (earlier >> 32)
        seconds = (seconds + (1 << 31)) % (1 << 32) - (1 << 31)
        return seconds * NS_PER_S + (later & 0xFFFF_FFFF) - (earlier & 0xFFFF_FFFF)
    # The shortest way round: both may lie on either side of the roll-over of 2036.
    units = (later - earlier + (_ERA >> 1)) % _ERA - (_ERA >> 1)
    return units * NS_PER_S >> 32


@dataclass(frozen=True, slots=True)
class SenderPacket:
    """What a session-sender sends.

    Attributes:
        sequence: 0 for the first of a session, 32 bits.
        timestamp: T1, the 64 bits that travel.
        error_estimate: 16 bits, see `ErrorEstimate`.
        ssid: Session identifier, 0 for none.
    """

    sequence: int
    timestamp: int
    error_estimate: int = UNSYNCHRONIZED
    ssid: int = 0


@dataclass(frozen=True, slots=True)
class ReflectorPacket:
    """What a session-reflector answers.

    Attributes:
        sequence: The sender's (stateless), or the reflector's own count (stateful).
        timestamp: T3, when the reflector sent it.
        error_estimate: Of T2 and T3.
        ssid: Copy of the sender's, 0 from a reflector that does not know of it.
        receive_timestamp: T2, when the reflector received the sender's packet.
        sender_sequence: Copy of the sender's sequence.
        sender_timestamp: Copy of T1.
        sender_error_estimate: Copy of the sender's.
        sender_ttl: TTL or hop limit with which the sender's packet arrived.
    """

    sequence: int
    timestamp: int
    error_estimate: int
    ssid: int
    receive_timestamp: int
    sender_sequence: int
    sender_timestamp: int
    sender_error_estimate: int
    sender_ttl: int


def signature(text: bytes, key: bytes) -> bytes:
    """Return the HMAC of *text*: HMAC-SHA-256, truncated to 16 octets (RFC 8762 section 4.4)."""
    return hmac.digest(key, text, "sha256")[:HMAC_BYTES]


def build_sender(packet: SenderPacket, key: bytes | None = None) -> bytes:
    """Return a sender's base packet: 44 octets, or 112 with a *key*."""
    fields = (packet.sequence, packet.timestamp, packet.error_estimate, packet.ssid)
    return _SENDER.pack(*fields) if key is None else _signed(_SENDER_SIGNED.pack(*fields), key)


def parse_sender(data: bytes, key: bytes | None = None) -> SenderPacket | Malformed:
    """Read a sender's packet; without a *key*, a short one counts as if its missing octets were zero."""
    if key is None:
        if len(data) < SENDER_LEAST_BYTES:
            return Malformed("shorter than a sender's header")
        packet = SenderPacket(*_SENDER.unpack(data[:BASE_BYTES].ljust(BASE_BYTES, b"\0")))
    elif _holds(data, key):
        packet = SenderPacket(*_SENDER_SIGNED.unpack_from(data))
    else:
        return _NOT_AUTHENTIC
    return packet if packet.error_estimate & 0xFF else _NO_MULTIPLIER


def build_reflector(packet: ReflectorPacket, key: bytes | None = None) -> bytes:
    """Return a reflector's base packet: 44 octets, or 112 with a *key*."""
    head = (packet.sequence, packet.timestamp, packet.error_estimate, packet.ssid, packet.receive_timestamp)
    copies = (packet.sender_sequence, packet.sender_timestamp, packet.sender_error_estimate, packet.sender_ttl)
    if key is None:
        return _REFLECTOR.pack(*head, *copies) + _MBZ_AT_THE_END
    return _signed(_REFLECTOR_SIGNED.pack(*head, *copies), key)


def parse_reflector(data: bytes, key: bytes | None = None) -> ReflectorPacket | Malformed:
    """Read a reflector's packet: 41 octets or more, or 112 or more with a *key*."""
    if key is None:
        if len(data) < REFLECTOR_LEAST_BYTES:
            return Malformed("shorter than a reflector's packet")
        packet = ReflectorPacket(*_REFLECTOR.unpack_from(data))
    elif _holds(data, key):
        packet = ReflectorPacket(*_REFLECTOR_SIGNED.unpack_from(data))
    else:
        return _NOT_AUTHENTIC
    return packet if packet.error_estimate & 0xFF else _NO_MULTIPLIER


def claimed(data: bytes, *, signed: bool) -> tuple[int, int] | None:
    """Return which sender's sequence and T1 a malformed reflector's packet claims to answer; None if it is too short.

    Good for finding out which probe was answered so badly, and for nothing else.
    """
    at_sequence, at_t1 = (48, 64) if signed else (24, 28)
    if len(data) < at_t1 + 8:
        return None
    return int.from_bytes(data[at_sequence : at_sequence + 4], "big"), int.from_bytes(data[at_t1 : at_t1 + 8], "big")


def residence_ns(reply: ReflectorPacket) -> int:
    """Return how long the reflector says that it kept the packet: T3 - T2, whatever its clock shows."""
    ptp = bool(reply.error_estimate & _PTP)
    return timestamp_difference_ns(reply.timestamp, reply.receive_timestamp, ptp=ptp)


class OneWay(NamedTuple):
    """The delay of each direction, as far as two clocks can tell, in nanoseconds.

    Attributes:
        forward_ns: T2 - T1.
        reverse_ns: T4 - T3.
        error_ns: The most by which either can be wrong: both clocks' error estimates together.
    """

    forward_ns: int
    reverse_ns: int
    error_ns: int


def one_way(reply: ReflectorPacket, t4: int) -> OneWay | None:
    """Return the delay of each direction; None unless both clocks are set to UTC and tell time in NTP's format.

    Args:
        reply: The reflector's packet.
        t4: When it came, as a 64-bit NTP timestamp.
    """
    both = reply.error_estimate, reply.sender_error_estimate
    if not both[0] & both[1] & _SYNCHRONIZED or (both[0] | both[1]) & _PTP:
        return None
    errors = map(parse_error_estimate, both)
    return OneWay(
        timestamp_difference_ns(reply.receive_timestamp, reply.sender_timestamp),
        timestamp_difference_ns(t4, reply.timestamp),
        round(sum(error.seconds for error in errors if isinstance(error, ErrorEstimate)) * NS_PER_S),
    )


_NO_MULTIPLIER: Final = Malformed("zero multiplier in an error estimate")
_NOT_AUTHENTIC: Final = Malformed("not authentic")


def _signed(head: bytes, key: bytes) -> bytes:
    return head + signature(head, key)


def _holds(data: bytes, key: bytes) -> bool:
    covered = SIGNED_BYTES - HMAC_BYTES
    return len(data) >= SIGNED_BYTES and hmac.compare_digest(data[covered:SIGNED_BYTES], signature(data[:covered], key))
