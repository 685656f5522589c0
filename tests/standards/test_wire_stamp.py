"""STAMP packets against RFC 8762, RFC 4656, RFC 8186, RFC 5905 and RFC 5357 (read in annotated translation)."""

from datetime import UTC, datetime

import pytest

from wanwatch.core.model import NS_PER_S
from wanwatch.core.wire import Malformed, stamp
from wanwatch.core.wire.stamp import ErrorEstimate, ReflectorPacket, SenderPacket

T1 = 0xED00378080000000
REPLY = "00000007ed00378082b020c480010000ed003780828f5c2800000007ed003780800000008001000040000000"


def unix_ns(text: str) -> int:
    """An instant of RFC 3339 as Unix nanoseconds."""
    return round(datetime.fromisoformat(text).timestamp() * 1000) * 1_000_000


def test_the_default_port_is_862() -> None:
    """RFC 8762 section 4.1."""
    assert stamp.PORT == 862


@pytest.mark.parametrize(
    ("word", "synchronized", "ptp", "scale", "multiplier", "seconds"),
    [
        (0x8001, True, False, 0, 1, 2.3283064365386963e-10),
        (0x0001, False, False, 0, 1, 2.3283064365386963e-10),
        (0x9064, True, False, 16, 100, 0.00152587890625),
        (0x5001, False, True, 16, 1, 1.52587890625e-05),
    ],
)
def test_an_error_estimate_is_multiplier_times_two_to_the_scale(
    word: int,
    synchronized: bool,  # noqa: FBT001 - a row of the table
    ptp: bool,  # noqa: FBT001 - a row of the table
    scale: int,
    multiplier: int,
    seconds: float,
) -> None:
    """RFC 4656 section 4.1.2; the Z bit is RFC 8186 section 2.1."""
    estimate = stamp.parse_error_estimate(word)
    assert estimate == ErrorEstimate(synchronized=synchronized, ptp=ptp, scale=scale, multiplier=multiplier)
    assert isinstance(estimate, ErrorEstimate)
    assert estimate.seconds == seconds
    assert estimate.word() == word


def test_a_zero_multiplier_is_corrupt() -> None:
    """RFC 4656 section 4.1.2: the multiplier must not be zero."""
    assert isinstance(stamp.parse_error_estimate(0x8000), Malformed)
    assert isinstance(stamp.parse_sender(bytes.fromhex("00000007ed003780800000008000")), Malformed)


@pytest.mark.parametrize("error_us", [0, 1, 255, 256, 1000, 16_000_000, 4_000_000_000])
def test_our_error_estimate_covers_the_error_by_less_than_one_part_in_a_hundred(error_us: int) -> None:
    """RFC 4656 section 4.1.2: eight bits of multiplier; rounded up, since an estimate must not promise too much."""
    estimate = stamp.error_estimate(error_us)
    assert 1 <= estimate.multiplier <= 255
    assert 0 <= estimate.scale <= 63
    assert error_us <= estimate.seconds * 1e6 <= error_us * 1.01 + 0.001
    assert estimate.synchronized


def test_a_clock_that_nobody_sets_does_not_claim_to_be_synchronized() -> None:
    """RFC 4656 section 4.1.2: S is set only if the clock is synchronised to UTC by an external source."""
    assert stamp.error_estimate(None).word() == 0x0001


def test_ntp_time_begins_in_1900_and_has_a_binary_fraction() -> None:
    """RFC 5905 section 6 (from memory): 2026-01-01T00:00:00.5Z is 3976214400 s and one half."""
    assert stamp.NTP_TO_UNIX_S == 2_208_988_800
    assert stamp.ntp_from_unix(unix_ns("2026-01-01T00:00:00.500+00:00")) == T1
    assert T1 >> 32 == 3_976_214_400


def test_an_eighth_of_a_second_is_an_exact_fraction() -> None:
    """RFC 5905 section 6: 0.25 s is 40000000."""
    assert stamp.ntp_from_unix(NS_PER_S // 4) & 0xFFFF_FFFF == 0x4000_0000
    assert stamp.ntp_from_unix(NS_PER_S // 1000) & 0xFFFF_FFFF == 0x0041_8937  # 0.001 s, truncated: .374 of a unit


def test_the_first_era_ends_in_2036_and_differences_go_on() -> None:
    """RFC 5905 section 6: the seconds are 0 again at 2036-02-07T06:28:16Z."""
    roll = unix_ns("2036-02-07T06:28:16+00:00")
    assert datetime.fromtimestamp(roll // NS_PER_S, UTC).year == 2036
    assert stamp.ntp_from_unix(roll) == 0
    before = stamp.ntp_from_unix(roll - NS_PER_S // 2)
    assert stamp.timestamp_difference_ns(0, before) == NS_PER_S // 2
    assert stamp.timestamp_difference_ns(before, 0) == -NS_PER_S // 2


def test_truncated_ptp_timestamps_count_nanoseconds() -> None:
    """IEEE 1588 as cited by RFC 8186 section 2.1 (from memory): 32 bits of seconds and 32 of nanoseconds."""
    half = 0x6955B900_1DCD6500  # 1767225600.5 s
    assert stamp.timestamp_difference_ns(half, 0x6955B900_00000000, ptp=True) == NS_PER_S // 2


def test_a_sender_packet_has_44_octets_with_zeros_where_zeros_must_be() -> None:
    """RFC 8762 section 4.2.1, figure 2."""
    packet = stamp.build_sender(SenderPacket(7, T1, 0x8001))
    assert packet.hex() == "00000007ed003780800000008001" + "00" * 30
    assert stamp.parse_sender(packet) == SenderPacket(7, T1, 0x8001)


def test_a_reflector_packet_copies_the_sender_and_adds_its_own_times() -> None:
    """RFC 8762 section 4.3.1, figure 5: T2 = T1 + 10 ms, T3 = T1 + 10.5 ms, TTL 64 (fractions truncated)."""
    expected = ReflectorPacket(7, 0xED00378082B020C4, 0x8001, 0, 0xED003780828F5C28, 7, T1, 0x8001, 64)
    assert stamp.build_reflector(expected).hex() == REPLY
    assert stamp.parse_reflector(bytes.fromhex(REPLY)) == expected


def test_the_round_trip_leaves_out_what_the_reflector_took() -> None:
    """RFC 8762 section 4.3: (T4 - T1) - (T3 - T2), whatever the reflector's clock shows."""
    t1, t2, t3, t4 = (stamp.ntp_from_unix(us * 1000) for us in (500_000, 510_000, 510_500, 523_000))
    for off_ns in (0, NS_PER_S):
        off = stamp.ntp_from_unix(off_ns) - stamp.ntp_from_unix(0)
        residence_ns = stamp.timestamp_difference_ns(t3 + off, t2 + off)
        assert stamp.timestamp_difference_ns(t4, t1) - residence_ns == pytest.approx(22_500_000, abs=2)
        assert stamp.timestamp_difference_ns(t2 + off, t1) == pytest.approx(10_000_000 + off_ns, abs=2)
        assert stamp.timestamp_difference_ns(t4, t3 + off) == pytest.approx(12_500_000 - off_ns, abs=2)


def test_the_session_identifier_lies_in_octets_14_and_15() -> None:
    """RFC 8972 section 3, figures 1 and 2."""
    assert stamp.build_sender(SenderPacket(0, T1, 1, ssid=0xBEEF))[14:16].hex() == "beef"
    reply = bytearray(bytes.fromhex(REPLY))
    reply[14:16] = b"\xbe\xef"
    parsed = stamp.parse_reflector(bytes(reply))
    assert isinstance(parsed, ReflectorPacket)
    assert parsed.ssid == 0xBEEF


def test_an_older_reflector_may_answer_with_41_octets() -> None:
    """RFC 5357 section 4.2.1 with erratum 5045."""
    assert stamp.parse_reflector(bytes.fromhex(REPLY)[:41]) == stamp.parse_reflector(bytes.fromhex(REPLY))
    assert isinstance(stamp.parse_reflector(bytes.fromhex(REPLY)[:40]), Malformed)


def test_missing_octets_of_an_older_sender_count_as_zero() -> None:
    """RFC 8762 section 4.6 (from memory): a TWAMP-Light sender's packet may be shorter."""
    assert stamp.parse_sender(bytes.fromhex("00000007ed003780800000008001")) == SenderPacket(7, T1, 0x8001, 0)


def test_tlvs_behind_the_base_packet_do_not_disturb() -> None:
    """RFC 8972 section 4: TLVs follow the base packet."""
    assert stamp.parse_reflector(bytes.fromhex(REPLY) + bytes.fromhex("80010000")) == stamp.parse_reflector(
        bytes.fromhex(REPLY)
    )
