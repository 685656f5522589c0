"""STAMP test packets without authentication: bytes to values and back.

Sources:     RFC 8762 sections 4.2.1 and 4.3.1 (layouts); RFC 8972 section 3 (session identifier); RFC 4656 section
             4.1.2 (error estimate); RFC 8186 section 2.1 (its Z bit); RFC 5905 section 6 (NTP timestamps); RFC 5357
             section 4.2.1 (the 41 octets of an older reflector).
Departures:  timestamps stay the 64-bit words of the wire; TLVs behind the base packet are not read.
"""

import struct
from dataclasses import dataclass
from typing import Final

from wanwatch.core.model import NS_PER_S
from wanwatch.core.wire.malformed import Malformed

PORT: Final = 862
BASE_BYTES: Final = 44
REFLECTOR_LEAST_BYTES: Final = 41
SENDER_LEAST_BYTES: Final = 14
_SENDER: Final = struct.Struct("!IQHH28x")
_REFLECTOR: Final = struct.Struct("!IQHHQIQHxxB")
_MBZ_AT_THE_END: Final = b"\0\0\0"

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
        return Malformed("zero multiplier in an error estimate")
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


def build_sender(packet: SenderPacket) -> bytes:
    """Return the 44 octets of a sender's base packet."""
    return _SENDER.pack(packet.sequence, packet.timestamp, packet.error_estimate, packet.ssid)


def parse_sender(data: bytes) -> SenderPacket | Malformed:
    """Read a sender's packet; an older sender's short one counts as if its missing octets were zero."""
    if len(data) < SENDER_LEAST_BYTES:
        return Malformed("shorter than a sender's header")
    packet = SenderPacket(*_SENDER.unpack(data[:BASE_BYTES].ljust(BASE_BYTES, b"\0")))
    estimate = parse_error_estimate(packet.error_estimate)
    return estimate if isinstance(estimate, Malformed) else packet


def build_reflector(packet: ReflectorPacket) -> bytes:
    """Return the 44 octets of a reflector's base packet."""
    head = (packet.sequence, packet.timestamp, packet.error_estimate, packet.ssid, packet.receive_timestamp)
    copies = (packet.sender_sequence, packet.sender_timestamp, packet.sender_error_estimate, packet.sender_ttl)
    return _REFLECTOR.pack(*head, *copies) + _MBZ_AT_THE_END


def parse_reflector(data: bytes) -> ReflectorPacket | Malformed:
    """Read a reflector's packet of 41 octets or more."""
    if len(data) < REFLECTOR_LEAST_BYTES:
        return Malformed("shorter than a reflector's packet")
    packet = ReflectorPacket(*_REFLECTOR.unpack_from(data))
    estimate = parse_error_estimate(packet.error_estimate)
    return estimate if isinstance(estimate, Malformed) else packet
