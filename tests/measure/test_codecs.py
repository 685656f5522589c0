"""What each kind's packets say of which probe."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wanwatch.core.model import NS_PER_S, Cause, Json, Outcome
from wanwatch.core.wire import icmp, stamp, stun
from wanwatch.measure import codecs, names
from wanwatch.measure.codecs import Codec, DnsCodec, EchoCodec, StampCodec, StunCodec
from wanwatch.measure.flights import OLDEST, Reading

WALL = 1_793_700_000 * NS_PER_S
IP_HEADER = b"\x45" + bytes(19)


def echoed(packet: bytes, **changes: object) -> bytes:
    """The reply to an IPv4 echo request."""
    request = icmp.parse_echo(4, packet)
    assert isinstance(request, icmp.Echo)
    return icmp.build_echo(4, request._replace(reply=True)._replace(**changes))  # type: ignore[arg-type]


KEY = b"an example key of some length"


def reflected(packet: bytes, key: bytes | None = None, **changes: int) -> bytes:
    """A stateless reflector's answer."""
    asked = stamp.parse_sender(packet, key)
    assert isinstance(asked, stamp.SenderPacket)
    fields = {
        "sequence": asked.sequence,
        "timestamp": asked.timestamp + (3 << 32),
        "error_estimate": 0x0001,
        "ssid": asked.ssid,
        "receive_timestamp": asked.timestamp + (2 << 32),
        "sender_sequence": asked.sequence,
        "sender_timestamp": asked.timestamp,
        "sender_error_estimate": asked.error_estimate,
        "sender_ttl": 61,
    }
    return stamp.build_reflector(stamp.ReflectorPacket(**fields | changes), key)


@pytest.mark.parametrize("key", [0, 1, 65_535, 65_536, 1_000_000])
def test_an_echo_reply_is_known_by_cookie_and_key(key: int) -> None:
    """The sequence has 16 bits only, the key in the data more."""
    codec = EchoCodec(4, raw=True)
    packet = codec.encode(key, WALL)
    assert len(packet) == 8 + 56
    assert codec.decode(IP_HEADER + echoed(packet), WALL) == Reading(key)


def test_an_echo_reply_of_another_program_is_ignored() -> None:
    """A raw socket receives everybody's replies."""
    mine, other = EchoCodec(4, raw=True), EchoCodec(4, raw=True)
    assert mine.decode(IP_HEADER + echoed(other.encode(0, WALL)), WALL) is None
    assert mine.decode(IP_HEADER + mine.encode(0, WALL), WALL) is None  # our own request, seen on loopback


def test_the_kernel_may_replace_the_identifier_on_a_datagram_socket_only() -> None:
    """Linux icmp(7): the identifier is the socket's own."""
    for raw, outcome in ((False, Outcome.ANSWERED), (True, Outcome.MALFORMED)):
        codec = EchoCodec(4, raw=raw)
        request = codec.encode(3, WALL)
        identifier = int.from_bytes(request[4:6], "big") ^ 1
        packet = (IP_HEADER if raw else b"") + echoed(request, identifier=identifier)
        reading = codec.decode(packet, WALL)
        assert reading is not None
        assert reading.outcome is outcome


def test_an_echo_reply_that_came_back_changed_is_malformed() -> None:
    """RFC 792: the data must be returned; and RFC 1071 guards the way."""
    codec = EchoCodec(4, raw=False)
    reply = echoed(codec.encode(3, WALL))
    for broken in (
        reply[:-1] + b"\xff",  # the checksum tells
        echoed(codec.encode(3, WALL), sequence=4),
        icmp.build_echo(4, icmp.Echo(0, 3, reply[8:-8], reply=True)),  # cut
        icmp.build_echo(4, icmp.Echo(0, 3, reply[8:-1] + b"\xff", reply=True)),  # another octet, checksum mended
    ):
        assert codec.decode(broken, WALL) == Reading(3, Outcome.MALFORMED)


def test_a_quoted_echo_is_known_even_by_its_header_alone() -> None:
    """RFC 792: an error quotes 8 octets of the datagram at least."""
    codec = EchoCodec(4, raw=True)
    for key in (70_000, 70_001):
        request = codec.encode(key, WALL)
    assert codec.quoted(request) == 70_001
    assert codec.quoted(request[:8]) == 70_001
    assert codec.quoted(request[:6] + (69_999 & 0xFFFF).to_bytes(2, "big")) == 69_999
    assert codec.quoted(bytes([8, 0, 0, 0, request[4] ^ 1, request[5], 0, 0])) is None
    assert codec.quoted(b"") is None


def test_a_stamp_reply_tells_residence_and_facts_but_no_one_way_times_of_clocks_that_nobody_sets() -> None:
    """RFC 8762 section 4.3; one-way differences need S in both error estimates."""
    codec = StampCodec()
    codec.encode(0, WALL)
    reply = reflected(codec.encode(1, WALL))
    facts: dict[str, Json] = {"reflector_seq": 1, "ttl": 61}
    assert codec.decode(reply, WALL) == Reading(1, facts=facts, residence_ns=NS_PER_S)


def test_one_way_differences_are_told_where_both_clocks_are_set(monkeypatch: pytest.MonkeyPatch) -> None:
    """T2 - T1 and T4 - T3, as they are."""
    monkeypatch.setattr(codecs, "wall_clock_error_us", lambda: 1000)
    codec = StampCodec()
    reply = reflected(codec.encode(0, WALL), error_estimate=0x8001)
    reading = codec.decode(reply, WALL + 5 * NS_PER_S)
    assert reading is not None
    assert reading.facts == {
        "reflector_seq": 0,
        "ttl": 61,
        "forward_ns": 2 * NS_PER_S,
        "reverse_ns": 2 * NS_PER_S,
        "one_way_error_ns": pytest.approx(1_000_000, rel=0.01),
    }


def test_a_stateful_reflector_tells_which_direction_lost() -> None:
    """RFC 8762 section 4.3: of 0 to 4, 1 was lost on its way there and 3 on its way back; copies count once."""
    codec = StampCodec()
    packets = [codec.encode(key, WALL + key) for key in range(5)]
    told = []
    for sender, reflector in ((0, 0), (2, 1), (2, 1), (4, 3)):
        reading = codec.decode(reflected(packets[sender], sequence=reflector), WALL)
        assert reading is not None
        assert reading.facts is not None
        told.append((reading.facts.get("lost_forward"), reading.facts.get("lost_reverse")))
    assert told == [(None, None), (1, 0), (1, 0), (1, 1)]


def test_a_socket_that_was_opened_anew_has_lost_nothing_by_that() -> None:
    """RFC 8762 section 4.3: a new session is numbered from 0 by a stateful reflector, whatever our probe's number."""
    codec = StampCodec()
    packets = {key: codec.encode(key, WALL + key) for key in range(500, 504)}
    told = []
    for sender, reflector in ((500, 0), (503, 2)):  # one of 501 and 502 went lost each way
        reading = codec.decode(reflected(packets[sender], sequence=reflector), WALL)
        assert reading is not None
        assert reading.facts is not None
        told.append((reading.facts["lost_forward"], reading.facts["lost_reverse"]))
    assert told == [(0, 0), (1, 1)]
    stateless = StampCodec()
    reading = stateless.decode(reflected(stateless.encode(500, WALL)), WALL)
    assert reading is not None
    assert reading.facts == {"reflector_seq": 500, "ttl": 61}


def test_a_session_has_an_identifier_that_must_come_back_or_be_unknown() -> None:
    """RFC 8972 section 3: not zero; copied by the reflector, and zero from one that does not know of it."""
    codec = StampCodec()
    packet = codec.encode(0, WALL)
    ssid = int.from_bytes(packet[14:16], "big")
    assert ssid
    assert codec.decode(reflected(packet, ssid=ssid ^ 1), WALL) is None
    old = codec.decode(reflected(packet, ssid=0), WALL)
    assert old is not None
    assert old.facts == {"reflector_seq": 0, "ttl": 61, "session": False}


def test_a_key_makes_the_session_authenticated_and_one_flipped_bit_is_refused() -> None:
    """RFC 8762 section 4.4: a packet that fails its HMAC must not be used."""
    codec = StampCodec(KEY)
    packet = codec.encode(3, WALL)
    assert len(packet) == 112
    reply = reflected(packet, KEY)
    for bit in range(0, 112 * 8, 5):
        broken = bytearray(reply)
        broken[bit // 8] ^= 1 << bit % 8
        named = bit // 8 not in (*range(48, 52), *range(64, 72))
        assert codec.decode(bytes(broken), WALL) == Reading(3 if named else OLDEST, Outcome.MALFORMED)
    assert codec.decode(reflected(packet[:4] + packet[16:28] + bytes(28)), WALL) == Reading(OLDEST, Outcome.MALFORMED)
    reading = codec.decode(reply, WALL)
    assert reading is not None
    assert (reading.key, reading.outcome) == (3, Outcome.ANSWERED)


def test_a_stamp_reply_with_another_t1_is_ignored() -> None:
    """A reply to an earlier session has the right sequence, and the wrong time."""
    codec = StampCodec()
    packet = codec.encode(0, WALL)
    assert codec.decode(reflected(packet, sender_timestamp=1), WALL) is None
    assert codec.decode(reflected(packet, sender_sequence=1), WALL) is None


def test_a_malformed_stamp_reply_is_put_down_to_the_probe_that_it_names() -> None:
    """Sequence and T1 may have come through whole; where they have not, it is the oldest that waits."""
    codec = StampCodec()
    packet = codec.encode(0, WALL)
    assert codec.decode(reflected(packet)[:40], WALL) == Reading(0, Outcome.MALFORMED)
    assert codec.decode(reflected(packet, error_estimate=0), WALL) == Reading(0, Outcome.MALFORMED)
    assert codec.decode(reflected(packet)[:35], WALL) == Reading(OLDEST, Outcome.MALFORMED)
    unknown = reflected(packet, error_estimate=0, sender_timestamp=1)
    assert codec.decode(unknown, WALL) == Reading(OLDEST, Outcome.MALFORMED)


def test_a_stamp_session_counts_from_zero_and_forgets_old_times() -> None:
    """RFC 8762 section 4.2.1; memory stays bounded."""
    codec = StampCodec()
    for key in range(5000):
        assert int.from_bytes(codec.encode(key, WALL + key)[:4], "big") == key
        codec.decode(reflected(codec.encode(key, WALL + key)), WALL)
    assert len(codec._t1) == 4096
    assert len(codec._answered) <= 4096
    assert codec.quoted((4999).to_bytes(4, "big")) == 4999
    assert codec.quoted(b"") == OLDEST


def test_a_stun_response_tells_the_address_that_was_seen() -> None:
    """RFC 8489 section 14.2; another transaction is nobody's."""
    codec = StunCodec()
    transaction = codec.encode(0, WALL)[8:20]
    seen = stun.Mapped("198.51.100.1", 40000)
    reading = codec.decode(stun.build_success(transaction, seen), WALL)
    assert reading == Reading(0, facts={"address": "198.51.100.1", "port": 40000})
    other = codec.decode(stun.build_success(bytes(12), seen), WALL)
    assert other is not None
    assert other.key != 0  # a key that was never sent


def test_a_stun_error_is_a_refusal_and_nonsense_is_malformed() -> None:
    """RFC 8489 section 6.3.4."""
    codec = StunCodec()
    transaction = codec.encode(0, WALL)[8:20]
    error = bytes.fromhex("0111000c2112a442") + transaction + bytes.fromhex("00090006000004016e6f0000")
    assert codec.decode(error, WALL) == Reading(0, Outcome.REFUSED, Cause.ERROR, {"error": 401})
    empty = bytes.fromhex("010100002112a442") + transaction
    assert codec.decode(empty, WALL) == Reading(0, Outcome.MALFORMED)
    assert codec.decode(b"hello", WALL) == Reading(OLDEST, Outcome.MALFORMED)
    assert codec.decode(codec.encode(0, WALL), WALL) is None  # a request


CODECS: list[Codec] = [
    EchoCodec(4, raw=True),
    EchoCodec(4, raw=False),
    EchoCodec(6, raw=False),
    StampCodec(),
    StampCodec(KEY),
    StunCodec(),
    DnsCodec(names.question("www.example.com")),
]


@pytest.mark.parametrize("codec", CODECS, ids=lambda codec: type(codec).__name__)
@given(data=st.binary(max_size=200), at=st.integers(0, 200))
def test_no_codec_raises_whatever_arrives(codec: Codec, data: bytes, at: int) -> None:
    """Arbitrary bytes, and our own packet with arbitrary bytes in it."""
    own = codec.encode(0, WALL)
    for packet in (data, own[:at] + data, own[: at // 4] + data + own[at // 2 :]):
        codec.decode(packet, WALL)
        codec.quoted(packet)
