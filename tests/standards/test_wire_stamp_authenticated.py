"""The authenticated mode of STAMP against RFC 8762, RFC 8972 and the vectors of RFC 4231."""

from wanwatch.core.wire import Malformed, stamp
from wanwatch.core.wire.stamp import ReflectorPacket, SenderPacket

KEY = b"an example key of some length"
T1, T2, T3 = 0xED00378080000000, 0xED003780828F5C28, 0xED00378082B020C4
SENDER = SenderPacket(7, T1, 0x8001, ssid=0xBEEF)
REFLECTOR = ReflectorPacket(5, T3, 0x8001, 0xBEEF, T2, 7, T1, 0x8001, 64)


def test_the_hmac_is_sha_256_cut_to_sixteen_octets() -> None:
    """RFC 4231 section 4.6, test case 5: a published HMAC-SHA-256 truncated to 128 bits; RFC 8762 section 4.4."""
    assert stamp.signature(b"Test With Truncation", b"\x0c" * 20).hex() == "a3b6167473100ee06e0c796c2955552b"


def test_a_sender_packet_has_112_octets_and_its_fields_where_the_figure_has_them() -> None:
    """RFC 8762 section 4.2.2 with RFC 8972 section 3: 12 zeros, time, estimate, identifier, 68 zeros, HMAC."""
    fields = ["00000007", "00" * 12, "ed00378080000000", "8001", "beef", "00" * 68]
    packet = stamp.build_sender(SENDER, KEY)
    assert len(packet) == stamp.SIGNED_BYTES == 112
    assert packet[:96].hex() == "".join(fields)
    assert packet[96:] == stamp.signature(packet[:96], KEY)
    assert stamp.parse_sender(packet, KEY) == SENDER


def test_a_reflector_packet_has_112_octets_and_its_fields_where_the_figure_has_them() -> None:
    """RFC 8762 section 4.3.2 with RFC 8972 section 3; every number and time begins at a multiple of 16 octets."""
    fields = [
        "00000005", "00" * 12,
        "ed00378082b020c4", "8001", "beef", "00" * 4,
        "ed003780828f5c28", "00" * 8,
        "00000007", "00" * 12,
        "ed00378080000000", "8001", "00" * 6,
        "40", "00" * 15,
    ]  # fmt: skip
    packet = stamp.build_reflector(REFLECTOR, KEY)
    assert len(packet) == 112
    assert packet[:96].hex() == "".join(fields)
    assert packet[96:] == stamp.signature(packet[:96], KEY)
    assert stamp.parse_reflector(packet, KEY) == REFLECTOR


def test_one_flipped_bit_is_noticed_wherever_it_is() -> None:
    """RFC 8762 section 4.4: the HMAC covers the 96 octets before it."""
    for built, read in (
        (stamp.build_sender(SENDER, KEY), stamp.parse_sender),
        (stamp.build_reflector(REFLECTOR, KEY), stamp.parse_reflector),
    ):
        for bit in range(112 * 8):
            broken = bytearray(built)
            broken[bit // 8] ^= 0x80 >> bit % 8
            assert read(bytes(broken), KEY) == Malformed("not authentic"), bit


def test_another_key_a_shorter_packet_and_the_other_mode_are_not_authentic() -> None:
    """RFC 8762 section 4.4: what fails its HMAC must not be used."""
    packet = stamp.build_reflector(REFLECTOR, KEY)
    assert stamp.parse_reflector(packet, KEY + b"x") == Malformed("not authentic")
    assert stamp.parse_reflector(packet[:111], KEY) == Malformed("not authentic")
    assert stamp.parse_reflector(stamp.build_reflector(REFLECTOR).ljust(112, b"\0"), KEY) == Malformed("not authentic")
    assert stamp.parse_sender(stamp.build_sender(SENDER), KEY) == Malformed("not authentic")


def test_what_follows_is_not_of_the_base_packet() -> None:
    """RFC 8972 section 4: TLVs follow the base packet, and have an HMAC of their own."""
    assert stamp.parse_sender(stamp.build_sender(SENDER, KEY) + b"\x80\x01\0\0", KEY) == SENDER


def test_a_zero_multiplier_is_corrupt_even_when_signed() -> None:
    """RFC 4656 section 4.1.2."""
    packet = stamp.build_sender(SenderPacket(7, T1, 0x8000), KEY)
    assert stamp.parse_sender(packet, KEY) == Malformed("zero multiplier in an error estimate")
