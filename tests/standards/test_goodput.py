"""Goodput arithmetic against published figures: Ethernet, VLAN, PPPoE, IP, TCP, and the tables of RFC 6349."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wanwatch.core.account.goodput import (
    Framing,
    frame_rate,
    goodput_bps,
    packet_bps,
    tier_goodput_bps,
    window_bps,
    window_bytes,
)

GIGABIT = 10**9


@pytest.mark.parametrize(
    ("framing", "wire", "mbps"),
    [
        (Framing(), 1538, (949.284785, 941.482445, 936.280884, 928.478544)),
        (Framing(vlan=True), 1542, (946.822309, 939.040208, 933.852140, 926.070039)),
        (Framing(mtu=1492, pppoe=True), 1538, (944.083225, 936.280884, 931.079324, 923.276983)),
        (Framing(mtu=1492, pppoe=True, vlan=True), 1542, (941.634241, 933.852140, 928.664073, 920.881971)),
        (Framing(pppoe=True), 1546, (944.372574, 936.610608, 931.435964, 923.673997)),
        (Framing(mtu=9000), 9038, (991.369772, 990.042045, 989.156893, 987.829166)),
    ],
    ids=["ethernet", "vlan", "pppoe", "pppoe-vlan", "pppoe-rfc4638", "jumbo"],
)
def test_the_best_goodput_of_a_gigabit_handoff(framing: Framing, wire: int, mbps: tuple[float, ...]) -> None:
    """IEEE 802.3 and 802.1Q, RFC 2516, RFC 4638, RFC 7323: IPv4, IPv6, each without and with timestamps."""
    assert framing.wire_bytes == wire
    found = [float(goodput_bps(GIGABIT, variant)) / 1e6 for variant in framing.variants()]
    assert found == pytest.approx(mbps, abs=1e-6)


@pytest.mark.parametrize(
    ("framing", "payloads"),
    [(Framing(), [1460, 1448, 1440, 1428]), (Framing(mtu=1492, pppoe=True), [1452, 1440, 1432, 1420])],
)
def test_the_payload_of_a_segment(framing: Framing, payloads: list[int]) -> None:
    """RFC 9293: 20 bytes of TCP; RFC 791: 20 of IPv4; RFC 8200: 40 of IPv6; RFC 7323: 12 of timestamps."""
    assert [variant.payload_bytes for variant in framing.variants()] == payloads


def test_whole_packets_are_carried_at_their_own_rate() -> None:
    """IEEE 802.3: 1500 of 1538 bytes; computed."""
    assert float(packet_bps(GIGABIT, Framing())) / 1e6 == pytest.approx(975.292588, abs=1e-6)


@pytest.mark.parametrize(
    ("size", "rates"),
    [
        (64, (14880, 148809, 1488095, 14880952)),
        (128, (8445, 84459, 844594, 8445945)),
        (256, (4528, 45289, 452898, 4528985)),
        (512, (2349, 23496, 234962, 2349624)),
        (768, (1586, 15862, 158629, 1586294)),
        (1024, (1197, 11973, 119731, 1197318)),
        (1280, (961, 9615, 96153, 961538)),
        (1518, (812, 8127, 81274, 812743)),
        (1522, (810, 8106, 81063, 810635)),
        (4096, (303, 3036, 30369, 303692)),
        (8192, (152, 1522, 15221, 152216)),
        (9216, (135, 1353, 13533, 135339)),
    ],
)
def test_frames_a_second(size: int, rates: tuple[int, ...]) -> None:
    """RFC 2544 appendix B and RFC 5180 appendix A, for 10 Mbit/s to 10 Gbit/s: whole frames (from memory; computed)."""
    assert tuple(int(frame_rate(10**power, size)) for power in (7, 8, 9, 10)) == rates


@pytest.mark.parametrize(
    ("mbps", "delays_ms", "windows_kb"),
    [
        (1.536, (20, 50, 100), (3.84, 9.60, 19.20)),
        (44.210, (10, 15, 25), (55.26, 82.89, 138.16)),
        (100, (1, 2, 5), (12.50, 25.00, 62.50)),
        (1000, (0.1, 0.5, 1), (12.50, 62.50, 125.00)),
        (10000, (0.05, 0.3), (62.50, 375.00)),
    ],
)
def test_the_window_that_fills_a_line(mbps: float, delays_ms: tuple[float, ...], windows_kb: tuple[float, ...]) -> None:
    """RFC 6349 section 3.3.1, its table; a KByte is 1000 bytes there."""
    found = [window_bytes(mbps * 1e6, ms / 1e3) / 1e3 for ms in delays_ms]
    assert found == pytest.approx(windows_kb, abs=0.006)


@pytest.mark.parametrize(("window", "ms", "mbps"), [(16_000, 5, 25.6), (16_000, 10, 12.8), (65_535, 20, 26.214)])
def test_what_a_window_lets_through(window: int, ms: float, mbps: float) -> None:
    """RFC 6349 section 3.3.1: 16 KB over 5 ms are 25.6 Mbit/s, over 10 ms 12.8; the third computed."""
    found = window_bps(window, ms / 1e3)
    assert found is not None
    assert found / 1e6 == pytest.approx(mbps)


def test_a_path_without_delay_has_no_window_that_limits_it() -> None:
    """A round trip of nothing gives no figure rather than an infinite one."""
    assert window_bps(65_535, 0) is None


def test_a_tier_is_held_against_what_the_provider_counts() -> None:
    """Computed: 1448 of 1500 bytes where IP packets are counted, of 1518 where frames are (IEEE 802.3)."""
    assert tier_goodput_bps(900 * 10**6, Framing(), of_frames=False) == 900 * 10**6 * Fraction(1448, 1500)
    assert tier_goodput_bps(900 * 10**6, Framing(), of_frames=True) == 900 * 10**6 * Fraction(1448, 1518)


@given(
    rate=st.integers(1, 10**11),
    framing=st.builds(Framing, mtu=st.integers(576, 9216), vlan=st.booleans(), pppoe=st.booleans()),
    times=st.integers(1, 100),
)
def test_goodput_grows_with_the_port_and_never_reaches_it(rate: int, framing: Framing, times: int) -> None:
    """Headers take their share of any rate (RFC 6349 section 3.3): the ratio is of the framing alone."""
    for variant in framing.variants():
        assert goodput_bps(rate * times, variant) == times * goodput_bps(rate, variant)
        assert 0 < goodput_bps(rate, variant) < packet_bps(rate, variant) < rate
