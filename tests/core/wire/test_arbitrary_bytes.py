"""No codec raises, whatever arrives."""

from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wanwatch.core.wire import icmp, rtnetlink, stamp, stamp_tlv, stun
from wanwatch.core.wire.malformed import Malformed

READERS: list[Callable[[bytes], object]] = [
    lambda data: icmp.parse_echo(4, data),
    lambda data: icmp.parse_echo(6, data),
    icmp.strip_ipv4,
    stamp.parse_sender,
    stamp.parse_reflector,
    lambda data: stamp.parse_sender(data, b"key"),
    lambda data: stamp.parse_reflector(data, b"key"),
    stamp_tlv.reflect,
    lambda data: stamp_tlv.reflect(data, b"key"),
    stun.parse,
    lambda data: [rtnetlink.parse(kind, body) for kind, body in rtnetlink.messages(data)],
    *(lambda data, kind=kind: rtnetlink.parse(kind, data) for kind in (2, 3, 16, 20, 24)),
]


@pytest.mark.parametrize("read", READERS)
@given(data=st.binary(max_size=200))
def test_arbitrary_bytes_give_a_value(read: Callable[[bytes], object], data: bytes) -> None:
    """A bad packet is a result, not an exception."""
    read(data)


@given(data=st.binary(max_size=120))
def test_stun_bodies_behind_a_good_header_give_a_value(data: bytes) -> None:
    """The attributes are reached only behind a header that fits."""
    body = data + bytes(-len(data) % 4)
    header = bytes.fromhex("0101") + len(body).to_bytes(2, "big") + bytes.fromhex("2112a442") + bytes(12)
    assert isinstance(stun.parse(header + body), stun.Message | Malformed)


@given(data=st.binary(max_size=120), sequence=st.integers(0, 0xFFFF_FFFF), estimate=st.integers(0, 0xFFFF))
def test_signed_stamp_bodies_give_a_value(data: bytes, sequence: int, estimate: int) -> None:
    """What is behind the HMAC is reached only with the right one."""
    body = sequence.to_bytes(4, "big") + bytes(20) + estimate.to_bytes(2, "big") + data.ljust(70, b"\0")[:70]
    packet = body + stamp.signature(body, b"key")
    for read, kind in ((stamp.parse_sender, stamp.SenderPacket), (stamp.parse_reflector, stamp.ReflectorPacket)):
        seen = read(packet, b"key")
        assert isinstance(seen, kind if estimate & 0xFF else Malformed)


@given(data=st.binary(max_size=200), key=st.sampled_from([None, b"key"]))
def test_reflected_tlvs_have_the_length_of_what_came(data: bytes, key: bytes | None) -> None:
    """A reflector is no amplifier."""
    assert len(stamp_tlv.reflect(data, key, (1, 2))) == len(data)


@given(
    reply=st.booleans(),
    identifier=st.integers(0, 0xFFFF),
    sequence=st.integers(0, 0xFFFF),
    data=st.binary(max_size=100),
    version=st.sampled_from([4, 6]),
)
def test_an_echo_reads_back(*, reply: bool, identifier: int, sequence: int, data: bytes, version: int) -> None:
    """What was built is what is read."""
    echo = icmp.Echo(identifier, sequence, data, reply)
    assert icmp.parse_echo(version, icmp.build_echo(version, echo)) == echo


@given(data=st.binary(max_size=100), bit=st.integers(min_value=0))
def test_one_flipped_bit_in_an_ipv4_echo_is_never_taken_for_the_same_echo(data: bytes, bit: int) -> None:
    """RFC 1071: a single bit error always changes the sum."""
    packet = icmp.build_echo(4, icmp.Echo(7, 9, data))
    broken = bytearray(packet)
    broken[bit % (len(packet) * 8) // 8] ^= 1 << bit % 8
    assert isinstance(icmp.parse_echo(4, bytes(broken)), Malformed)


@pytest.mark.parametrize(
    ("packet", "reason"),
    [
        ("", "not IPv4"),
        ("60", "not IPv4"),
        ("44" + "00" * 30, "shorter than its IPv4 header"),
        ("46" + "00" * 20, "shorter than its IPv4 header"),
    ],
)
def test_an_ipv4_header_that_cannot_be_is_told(packet: str, reason: str) -> None:
    """RFC 791 section 3.1: five words at least, and all of them there."""
    assert icmp.strip_ipv4(bytes.fromhex(packet)) == Malformed(reason)


def test_ipv4_options_are_skipped() -> None:
    """RFC 791 section 3.1: the header's length is in its first octet."""
    assert icmp.strip_ipv4(b"\x46" + bytes(23) + b"echo") == b"echo"
