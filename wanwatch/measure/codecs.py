"""What each kind of datagram question looks like, and what its replies say.

A codec numbers its probes by a key that it finds again in replies, and in the beginning of a packet that an ICMP
error quotes. Facts told, by kind:

    echo   none
    stamp  reflector_seq, ttl; session (False) where the reflector does not know of session identifiers; forward_ns,
           reverse_ns (T2 - T1 and T4 - T3 as they are, between two clocks) and one_way_error_ns only where both ends
           say that their clocks are synchronised; lost_forward and lost_reverse, counted since the socket was opened,
           only where the reflector numbers its answers by itself
    stun   address, port; error (the code) where refused
    dns    rcode (its name)
"""

import secrets
import socket
import struct
from typing import Final, Protocol

import dns.exception
import dns.message

from wanwatch.clock import wall_clock_error_us
from wanwatch.core.model import Cause, Json, Outcome
from wanwatch.core.wire import Malformed, icmp, stamp, stun
from wanwatch.core.wire.stamp_loss import LostEachWay, Numbers, lost_each_way, step
from wanwatch.measure import names
from wanwatch.measure.flights import OLDEST, Reading
from wanwatch.measure.sockets import Refused

PAYLOAD_BYTES: Final = 56


class Codec(Protocol):
    """Packets of one kind. One codec serves one socket."""

    def encode(self, key: int, sent_unix_ns: int) -> bytes:
        """Return the packet of probe *key*, which counts 0, 1, 2 ... on its socket."""

    def decode(self, packet: bytes, now_unix_ns: int) -> Reading | None:
        """Return what *packet* says of which probe; None where it is not for us."""

    def quoted(self, original: bytes) -> int | None:
        """Return the key of the probe that *original*, cut free of IP and UDP headers, begins; None if not ours."""


class EchoCodec:
    """ICMP echo with 56 octets of data: a random cookie, the key, and a pattern.

    Args:
        version: 4 or 6.
        raw: Whether the socket is a raw one; a datagram socket sets identifier and checksum itself.
    """

    _TOKEN: Final = struct.Struct("!8sQ")

    def __init__(self, version: int, *, raw: bool) -> None:
        self._version = version
        self._raw = raw
        self._identifier = secrets.randbits(16)
        self._cookie = secrets.token_bytes(8)
        self._fill = bytes(range(PAYLOAD_BYTES - self._TOKEN.size))
        self._latest = 0

    def encode(self, key: int, sent_unix_ns: int) -> bytes:
        """Return an echo request; its sequence is the lower 16 bits of *key*."""
        del sent_unix_ns
        self._latest = key
        data = self._TOKEN.pack(self._cookie, key) + self._fill
        return icmp.build_echo(self._version, icmp.Echo(self._identifier, key & 0xFFFF, data))

    def decode(self, packet: bytes, now_unix_ns: int) -> Reading | None:
        """Read an echo reply. One of ours that came back changed is malformed."""
        del now_unix_ns
        if self._raw and self._version == 4:  # noqa: PLR2004 - the number is the protocol's name
            stripped = icmp.strip_ipv4(packet)
            if isinstance(stripped, Malformed):
                return None
            packet = stripped
        if packet[8:16] != self._cookie or len(packet) < icmp.HEADER_BYTES + self._TOKEN.size:
            return None
        key = int.from_bytes(packet[16:24], "big")
        echo = icmp.parse_echo(self._version, packet)
        if isinstance(echo, Malformed):
            return Reading(key, Outcome.MALFORMED)
        if not echo.reply:
            return None  # our own request, on loopback
        sound = echo.sequence == key & 0xFFFF and echo.data[16:] == self._fill and self._is_ours(echo.identifier)
        return Reading(key) if sound else Reading(key, Outcome.MALFORMED)

    def quoted(self, original: bytes) -> int | None:
        """Find the key by the cookie, or by identifier and sequence where the error quotes the header only."""
        if original[8:16] == self._cookie and len(original) >= icmp.HEADER_BYTES + self._TOKEN.size:
            return int.from_bytes(original[16:24], "big")
        if len(original) < icmp.HEADER_BYTES or not self._is_ours(int.from_bytes(original[4:6], "big")):
            return None
        # The latest key that has this sequence.
        return self._latest - (self._latest - int.from_bytes(original[6:8], "big") & 0xFFFF)

    def _is_ours(self, identifier: int) -> bool:
        # Linux replaces the identifier on a datagram ICMP socket by its own, and delivers only that one's replies.
        return not self._raw or identifier == self._identifier


class StampCodec:
    """A STAMP session; T1 and the session identifier are matched as well as the sequence.

    Args:
        key: The key shared with the reflector; None: without authentication.
    """

    def __init__(self, key: bytes | None = None) -> None:
        self._key = key
        self._ssid = secrets.randbelow(0xFFFF) + 1  # RFC 8972 section 3: not zero
        self._t1: dict[int, int] = {}
        self._answered: set[int] = set()
        self._numbers = Numbers()

    def encode(self, key: int, sent_unix_ns: int) -> bytes:
        """Return a sender's packet with sequence *key*, and as good an error estimate as the kernel gives."""
        sequence = key & 0xFFFF_FFFF
        if not self._t1:
            # A socket that was opened anew goes on counting; its reflector begins at 0, and nothing is lost by that.
            self._numbers = Numbers(first=sequence)
        t1 = stamp.ntp_from_unix(sent_unix_ns)
        self._t1[sequence] = t1
        if len(self._t1) > _T1_KEPT:
            oldest = next(iter(self._t1))
            del self._t1[oldest]
            self._answered.discard(oldest)
        return stamp.build_sender(stamp.SenderPacket(sequence, t1, _error_estimate(), self._ssid), self._key)

    def decode(self, packet: bytes, now_unix_ns: int) -> Reading | None:
        """Read a reflector's packet; one that is not authentic where it must be is malformed."""
        reply = stamp.parse_reflector(packet, self._key)
        if isinstance(reply, Malformed):
            sequence, t1 = stamp.claimed(packet, signed=self._key is not None) or (OLDEST, None)
            return Reading(sequence if self._t1.get(sequence) == t1 else OLDEST, Outcome.MALFORMED)
        if self._t1.get(reply.sender_sequence) != reply.sender_timestamp or reply.ssid not in (0, self._ssid):
            return None
        facts: dict[str, Json] = {"reflector_seq": reply.sequence, "ttl": reply.sender_ttl}
        if not reply.ssid:
            facts["session"] = False
        if ways := stamp.one_way(reply, stamp.ntp_from_unix(now_unix_ns)):
            facts |= {
                "forward_ns": ways.forward_ns,
                "reverse_ns": ways.reverse_ns,
                "one_way_error_ns": ways.error_ns,
            }
        if lost := self._count(reply):
            facts |= {"lost_forward": lost.forward, "lost_reverse": lost.reverse}
        return Reading(reply.sender_sequence, facts=facts, residence_ns=stamp.residence_ns(reply))

    def _count(self, reply: stamp.ReflectorPacket) -> LostEachWay | None:
        if reply.sender_sequence not in self._answered:
            self._answered.add(reply.sender_sequence)
            self._numbers = step(self._numbers, reply.sender_sequence, reply.sequence)
        return lost_each_way(self._numbers)

    def quoted(self, original: bytes) -> int | None:
        """Read the sequence; the oldest probe it is, where the error quotes the UDP header only."""
        return int.from_bytes(original[:4], "big") if len(original) >= _SEQUENCE_BYTES else OLDEST


class StunCodec:
    """STUN Binding requests without retransmission: one datagram is one probe."""

    def __init__(self) -> None:
        self._base = secrets.randbits(96)

    def encode(self, key: int, sent_unix_ns: int) -> bytes:
        """Return a Binding request."""
        del sent_unix_ns
        return stun.build_request(((self._base + key) % (1 << 96)).to_bytes(12, "big"))

    def decode(self, packet: bytes, now_unix_ns: int) -> Reading | None:
        """Read a response; one without a mapped address is malformed."""
        del now_unix_ns
        reply = stun.parse(packet)
        if isinstance(reply, Malformed):
            return Reading(OLDEST, Outcome.MALFORMED)
        key = (int.from_bytes(reply.transaction, "big") - self._base) % (1 << 96)
        if reply.kind == stun.ERROR:
            return Reading(key, Outcome.REFUSED, Cause.ERROR, {"error": reply.error_code})
        if reply.kind != stun.SUCCESS:
            return None
        if reply.mapped is None:
            return Reading(key, Outcome.MALFORMED)
        return Reading(key, facts={"address": reply.mapped.address, "port": reply.mapped.port})

    def quoted(self, original: bytes) -> int | None:
        """Take the oldest probe: each socket asks once."""
        del original
        return OLDEST


class DnsCodec:
    """A DNS query over UDP (RFC 1035); a truncated answer is to be fetched over TCP."""

    def __init__(self, query: dns.message.QueryMessage) -> None:
        self._query = query

    def encode(self, key: int, sent_unix_ns: int) -> bytes:
        """Return the query; each socket asks once, with a random ID of its own."""
        del key, sent_unix_ns
        return self._query.to_wire()

    def decode(self, packet: bytes, now_unix_ns: int) -> Reading | None:
        """Read a response; another ID or question than asked is ignored (RFC 5452 section 9.1)."""
        del now_unix_ns
        if packet[:2] != self._query.id.to_bytes(2, "big"):
            return None
        try:
            reply = dns.message.from_wire(packet, ignore_trailing=True)
        except (dns.exception.DNSException, ValueError):
            return Reading(0, Outcome.MALFORMED)
        return names.reading(self._query, reply)

    def quoted(self, original: bytes) -> int | None:
        """Take the oldest probe: each socket asks once."""
        del original
        return OLDEST


_SEQUENCE_BYTES: Final = 4
_T1_KEPT: Final = 4096


def _error_estimate() -> int:
    return stamp.error_estimate(wall_clock_error_us()).word()


def version_of(family: socket.AddressFamily) -> int:
    """Return the IP version, 4 or 6, of *family*."""
    return 4 if family == socket.AF_INET else 6


def refusal(codec: Codec, refused: Refused) -> Reading | None:
    """Return what an ICMP error says of which probe."""
    key = codec.quoted(refused.original)
    return None if key is None else Reading(key, Outcome.REFUSED, refused.cause, {"by": refused.by})
