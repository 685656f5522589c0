"""Delay and loss of each direction against RFC 8762, RFC 8186 and RFC 4656; RFC 8972's TLVs."""

from dataclasses import replace

import pytest

from wanwatch.core.model import NS_PER_S
from wanwatch.core.wire import stamp, stamp_tlv
from wanwatch.core.wire.stamp import ReflectorPacket
from wanwatch.core.wire.stamp_loss import LostEachWay, Numbers, lost_each_way, step

KEY = b"an example key of some length"
T1, T2, T3, T4 = (stamp.ntp_from_unix(us * 1000) for us in (500_000, 510_000, 510_500, 523_000))
REPLY = ReflectorPacket(0, T3, 0x8001, 0, T2, 0, T1, 0x8001, 64)
ONE_S = stamp.ntp_from_unix(NS_PER_S) - stamp.ntp_from_unix(0)


def test_each_direction_has_its_own_delay_where_both_clocks_are_set() -> None:
    """RFC 8762 section 4: T2 - T1 and T4 - T3; here 10.0 ms and 12.5 ms, of a round trip of 22.5 ms."""
    told = stamp.one_way(REPLY, T4)
    assert told is not None
    assert told.forward_ns == pytest.approx(10_000_000, abs=2)
    assert told.reverse_ns == pytest.approx(12_500_000, abs=2)
    assert stamp.residence_ns(REPLY) == pytest.approx(500_000, abs=2)


@pytest.mark.parametrize(("ours", "theirs"), [(0x0001, 0x8001), (0x8001, 0x0001), (0x0001, 0x0001)])
def test_a_clock_that_nobody_sets_shows_no_one_way_delay(ours: int, theirs: int) -> None:
    """RFC 4656 section 4.1.2: without S there is no common time; a second off would show as 1010.0 and -987.5 ms."""
    off = replace(REPLY, timestamp=T3 + ONE_S, receive_timestamp=T2 + ONE_S)
    assert stamp.one_way(replace(off, error_estimate=theirs, sender_error_estimate=ours), T4) is None
    claimed = stamp.one_way(off, T4)
    assert claimed is not None
    assert claimed.forward_ns == pytest.approx(1_010_000_000, abs=2)
    assert claimed.reverse_ns == pytest.approx(-987_500_000, abs=2)
    assert stamp.residence_ns(off) == stamp.residence_ns(REPLY)  # the round trip is not touched by it


def test_one_way_delay_comes_with_both_clocks_errors_together() -> None:
    """RFC 4656 section 4.1.2: multiplier times 2 to the scale, in units of 2**-32 s, of each clock."""
    told = stamp.one_way(replace(REPLY, error_estimate=0x9064, sender_error_estimate=0x9064), T4)
    assert told is not None
    assert told.error_ns == round(2 * 0.00152587890625 * NS_PER_S)


def test_times_of_two_formats_show_no_one_way_delay() -> None:
    """RFC 8186 section 2.1: with Z the time is of the other format; the stay at the reflector is still known."""
    reply = replace(REPLY, error_estimate=0xC001, timestamp=(1 << 32) + 5, receive_timestamp=0x3B9A_C9FF)
    assert stamp.one_way(reply, T4) is None
    assert stamp.residence_ns(reply) == 6  # 1 s and 5 ns less 999,999,999 ns


def after(*answers: tuple[int, int]) -> Numbers:
    """What these answers say, each by the sender's and the reflector's number."""
    numbers = Numbers()
    for sender, reflector in answers:
        numbers = step(numbers, sender, reflector)
    return numbers


STATEFUL = [(0, 0), (1, 1), (3, 2), (4, 3), (6, 5), (7, 6), (9, 8)]


def test_a_stateful_reflector_tells_which_direction_lost() -> None:
    """RFC 8762 section 4.3: of 0 to 9, number 2 was lost on its way there, 5 and 8 on their way back."""
    assert lost_each_way(after(*STATEFUL)) == LostEachWay(forward=1, reverse=2)


def test_a_stateless_reflector_tells_the_round_trip_only() -> None:
    """RFC 8762 section 4.3: it copies the sender's number."""
    assert lost_each_way(after(*((sender, sender) for sender, _ in STATEFUL))) is None
    assert lost_each_way(Numbers()) is None


def test_answers_that_overtake_each_other_are_not_lost() -> None:
    """Either direction may reorder (RFC 4737); in the end the numbers are the same."""
    forth = [(0, 0), (1, 1), (3, 2), (6, 4), (4, 5), (7, 6), (9, 8)]  # 6 overtook 4 on its way there
    for answers in (STATEFUL[::-1], STATEFUL[:3] + STATEFUL[4:] + STATEFUL[3:4]):
        assert lost_each_way(after(*answers)) == LostEachWay(1, 2)
    assert lost_each_way(after(*forth)) == LostEachWay(1, 2)


def test_a_reflector_that_begins_anew_is_counted_from_there() -> None:
    """Its numbers fall back to 0: what was lost in between has no direction, and is not made up."""
    before = [(number, number - 1) for number in range(1, 200)]
    numbers = after(*before)
    assert lost_each_way(numbers) == LostEachWay(forward=1, reverse=0)
    numbers = step(numbers, 300, 2)
    assert lost_each_way(numbers) == LostEachWay(0, 0)
    assert lost_each_way(step(step(numbers, 302, 3), 304, 5)) == LostEachWay(1, 1)


def test_copies_on_the_way_there_make_the_count_unreadable() -> None:
    """A reflector counts what it receives: more than was sent says nothing of directions."""
    assert lost_each_way(after((0, 0), (1, 2), (2, 3))) is None


PADDING, UNKNOWN = bytes.fromhex("80010003") + b"abc", bytes.fromhex("80c80002") + b"hi"


def test_an_unknown_tlv_comes_back_with_its_u_flag_set_and_a_known_one_without() -> None:
    """RFC 8972 section 4: U is the highest bit of the flags; section 4.1: extra padding is type 1."""
    expected = bytes.fromhex("00010003") + b"abc" + bytes.fromhex("80c80002") + b"hi"
    assert stamp_tlv.reflect(PADDING + UNKNOWN) == expected
    cleared = bytes.fromhex("00c80002") + b"hi"  # a sender that forgot its U
    assert stamp_tlv.reflect(cleared) == UNKNOWN


@pytest.mark.parametrize("cut", ["8001ffff" + "00" * 8, "80010003" + "6162", "800100", "80"])
def test_a_tlv_that_claims_more_than_there_is_comes_back_with_its_m_flag_set(cut: str) -> None:
    """RFC 8972 section 4: M, the second bit; the length stays as it was."""
    data = bytes.fromhex(cut)
    assert stamp_tlv.reflect(data) == b"\x40" + data[1:]
    assert stamp_tlv.reflect(UNKNOWN + data) == UNKNOWN + b"\x40" + data[1:]


def sealed(tlvs: bytes, sequence: int) -> bytes:
    """TLVs with the HMAC TLV behind them."""
    seal = stamp.signature(sequence.to_bytes(4, "big") + tlvs, KEY)
    return tlvs + stamp_tlv.build(stamp_tlv.HMAC, seal)


def test_the_hmac_tlv_covers_the_number_and_the_tlvs_before_it() -> None:
    """RFC 8972 section 4.8 (from memory): the reflector checks it, and signs its own number and TLVs anew."""
    answer = stamp_tlv.reflect(sealed(UNKNOWN, 7), KEY, (7, 5))
    seal = stamp.signature((5).to_bytes(4, "big") + UNKNOWN, KEY)
    assert answer == UNKNOWN + stamp_tlv.build(stamp_tlv.HMAC, seal, flags=0)
    behind = stamp_tlv.reflect(sealed(UNKNOWN, 7) + PADDING, KEY, (7, 5))  # extra padding may follow
    assert behind == answer + b"\0" + PADDING[1:]


@pytest.mark.parametrize(
    ("tlvs", "flags"),
    [
        (UNKNOWN, [0xA0]),  # none where one must be
        (sealed(UNKNOWN, 8), [0xA0, 0x20]),  # of another packet
        (sealed(UNKNOWN, 7) + UNKNOWN, [0xA0, 0x20, 0xA0]),  # not the last
        (UNKNOWN + bytes.fromhex("80080001") + b"x", [0xA0, 0x60]),  # too short
        (PADDING + PADDING, [0x20, 0x20]),
    ],
)
def test_tlvs_that_fail_their_hmac_come_back_with_their_i_flags_set(tlvs: bytes, flags: list[int]) -> None:
    """RFC 8972 sections 4 and 4.8 (from memory): I, the third bit, on every TLV."""
    answer = stamp_tlv.reflect(tlvs, KEY, (7, 5))
    assert len(answer) == len(tlvs)
    seen, at = [], 0
    for tlv in stamp_tlv.parse(answer):
        seen.append(answer[at])
        at += 4 + len(tlv.value)
    assert seen == flags


def test_a_lone_extra_padding_needs_no_hmac() -> None:
    """RFC 8972 section 4.8 (from memory): it has nothing to protect."""
    assert stamp_tlv.reflect(PADDING, KEY, (7, 5)) == b"\0" + PADDING[1:]
    assert stamp_tlv.reflect(b"", KEY, (7, 5)) == b""
