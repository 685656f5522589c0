"""The E-model against ITU-T G.107, G.113 and G.114.

Sources: ITU-T G.107 (formulas from a secondary source, values computed from them; its annex B's table and words from
memory); ITU-T G.113 appendix I (codec values from secondary sources); ITU-T G.114 (from a secondary source).
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wanwatch.core.account import voice
from wanwatch.core.account.variation import LossRuns

PLC = voice.CODECS["g711-plc"]
SHARES = st.floats(0, 1)
DELAYS = st.floats(0, 2)


def test_the_default_rating() -> None:
    """ITU-T G.107: with all parameters at their defaults R is 93.2; 93.2062 to more digits, computed."""
    assert voice.rating(absolute_delay_s=0) == pytest.approx(93.2062, abs=5e-5)


@pytest.mark.parametrize(
    ("r", "mos"),
    [(0, 1.0), (50, 2.575), (60, 3.1), (70, 3.597), (80, 4.024), (90, 4.339), (93.2, 4.4093), (100, 4.5),
     (-5, 1.0), (105, 4.5)],
)  # fmt: skip
def test_ratings_map_to_opinions(r: float, mos: float) -> None:
    """ITU-T G.107 annex B: the cubic, 1 below R = 0 and 4.5 above 100."""
    assert voice.mean_opinion(r) == pytest.approx(mos, abs=5e-4)


@pytest.mark.parametrize(("r", "mos"), [(50, 2.58), (60, 3.10), (70, 3.60), (80, 4.03), (90, 4.34)])
def test_the_printed_table_of_opinions(r: float, mos: float) -> None:
    """ITU-T G.107 annex B's table, from memory; it prints 4.03 at R = 80, where the cubic gives 4.024."""
    assert voice.mean_opinion(r) == pytest.approx(mos, abs=0.01)


@pytest.mark.parametrize(
    ("delay_ms", "impairment"),
    [(100, 0), (150, 0.1635), (200, 3.0444), (250, 8.9167), (300, 14.7607), (400, 24.0701), (500, 30.6359)],
)
def test_what_delay_takes_off(delay_ms: int, impairment: float) -> None:
    """ITU-T G.107, Idd: computed from the formula."""
    assert voice.delay_impairment(delay_ms / 1000) == pytest.approx(impairment, abs=5e-5)


@pytest.mark.parametrize(("delay_ms", "r"), [(100, 90.664), (150, 89.539), (200, 85.805), (300, 72.666), (400, 62.247)])
def test_the_whole_model_with_echo(delay_ms: int, r: float) -> None:
    """ITU-T G.107 with T = Ta = Tr / 2 and TELR = 65 dB: computed from the whole set of formulas."""
    found = voice.rating(absolute_delay_s=delay_ms / 1000, echo_delay_s=delay_ms / 1000)
    assert found == pytest.approx(r, abs=5e-4)


@pytest.mark.parametrize(
    ("codec", "ie", "bpl", "impairments", "opinions"),
    [
        ("g711", 0, 4.3, (0, 17.9245, 30.1587, 39.0411, 51.0753), (4.4093, 3.8337, 3.2560, 2.7940, 2.1693)),
        ("g711-plc", 0, 25.1, (0, 3.6398, 7.0111, 10.1423, 15.7807), (4.4093, 4.3281, 4.2348, 4.1341, 3.9228)),
        ("g729a", 11, 19, (11, 15.2, 19, 22.4545, 28.5), (4.1044, 3.9462, 3.7873, 3.6318, 3.3396)),
    ],
)
def test_codecs_under_loss(
    codec: str, ie: float, bpl: float, impairments: tuple[float, ...], opinions: tuple[float, ...]
) -> None:
    """ITU-T G.113 appendix I's Ie and Bpl; ITU-T G.107's Ie,eff at 0 to 5 % loss, and the opinion of 93.2 less it."""
    known = voice.CODECS[codec]
    assert (known.ie, known.bpl) == (ie, bpl)
    for lost, impairment, mos in zip((0, 0.01, 0.02, 0.03, 0.05), impairments, opinions, strict=True):
        found = voice.loss_impairment(known, lost)
        assert found == pytest.approx(impairment, abs=5e-5)
        assert voice.mean_opinion(93.2 - found) == pytest.approx(mos, abs=1e-4)


@pytest.mark.parametrize(
    ("delay_ms", "codec", "lost", "r", "mos"),
    [
        (20, "g711-plc", 0, 93.2, 4.4093),
        (150, "g711-plc", 0.01, 89.3966, 4.3239),
        (200, "g711-plc", 0.02, 83.1445, 4.1371),
        (150, "g729a", 0.01, 77.8365, 3.9397),
        (400, "g711-plc", 0, 69.1299, 3.5559),
    ],
)
def test_calls_with_delay_and_loss(delay_ms: int, codec: str, lost: float, r: float, mos: float) -> None:
    """ITU-T G.107 with echo fully controlled; the expected rows take the default rating as 93.2, rounded."""
    found = voice.call(delay_ms / 1000, lost, voice.CODECS[codec])
    assert found.r - 0.0062 == pytest.approx(r, abs=1e-4)
    assert voice.mean_opinion(found.r - 0.0062) == pytest.approx(mos, abs=1e-4)
    assert found.mos == voice.mean_opinion(found.r)


def test_loss_in_bursts_is_worse_than_random_loss() -> None:
    """ITU-T G.107: G.711 with concealment at 2 % and BurstR 2 has Ie,eff 7.2797, computed."""
    assert voice.loss_impairment(PLC, 0.02, 2) == pytest.approx(7.2797, abs=5e-5)


@pytest.mark.parametrize(
    ("runs", "lost", "expected"),
    [
        (LossRuns(100, 9, 400), 0.04, 3.84),  # mean length 4; random loss of 4 % has runs of 1 / 0.96
        (LossRuns(100, 1, 100), 0.5, 1),  # shorter than random: no better than random
        (LossRuns(3, 40, 100), 0.04, 1),  # too few to say
        (LossRuns(0, 0, 0), 0.0, 1),
    ],
)
def test_the_burst_ratio_is_against_random_loss(runs: LossRuns, lost: float, expected: float) -> None:
    """ITU-T G.107: mean length of a burst over that of random loss, 1 / (1 - p)."""
    assert voice.burst_ratio(runs, lost) == pytest.approx(expected)


@pytest.mark.parametrize(
    ("r", "words"),
    [
        (93.2, "users very satisfied"), (90, "users very satisfied"), (89.9, "users satisfied"),
        (80, "users satisfied"), (70, "some users dissatisfied"), (60, "many users dissatisfied"),
        (50, "nearly all users dissatisfied"), (49.9, "not recommended"),
    ],
)  # fmt: skip
def test_what_users_would_say(r: float, words: str) -> None:
    """ITU-T G.107 annex B: limits at R = 90, 80, 70, 60 and 50, from memory."""
    assert voice.satisfaction(r) == words


def test_bands_of_one_way_delay() -> None:
    """ITU-T G.114: up to 150 ms for most uses, up to 400 ms where the effect is known, beyond it for none."""
    said = [voice.delay_band(ms / 1000) for ms in (150, 151, 400, 401)]
    assert said == [
        "short enough for most uses",
        *["acceptable where its effect is known"] * 2,
        "too long for planning",
    ]


def test_a_measured_line_is_half_its_round_trip_and_what_the_telephones_add() -> None:
    """RFC 3551 section 4.2: 20 ms in a packet; a buffer of two more (common practice, no published source)."""
    assert voice.line(0.180, 0.01, PLC) == voice.call(0.150, 0.01, PLC)
    assert voice.line(0.180, 0.04, PLC, LossRuns(100, 9, 400)) == voice.call(0.150, 0.04, PLC, 3.84)


@given(DELAYS, DELAYS, SHARES, SHARES)
def test_no_call_is_better_for_more_delay_or_more_loss(delay: float, other: float, lost: float, more: float) -> None:
    """ITU-T G.107: both impairments only grow; where the cubic alone would rise again, the score is held to 1."""
    for codec in voice.CODECS.values():
        best = voice.call(min(delay, other), min(lost, more), codec)
        worst = voice.call(max(delay, other), max(lost, more), codec)
        assert 1 <= worst.mos <= best.mos + 1e-12
