"""Figures of RFC 6349, and the stated rules of a speed test."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wanwatch.core.account.speed import (
    BIN_NS,
    MOST_WARM_UP_NS,
    RULES,
    Limit,
    Mark,
    Signs,
    buffer_delay,
    goodput,
    limit,
    tcp_efficiency,
    transfer_time_ratio,
    warm_up,
)


def marks(*each: int) -> list[Mark]:
    """Marks of so many bytes in each tenth of a second."""
    total, made = 0, [Mark(0, 0)]
    for number, carried in enumerate(each, 1):
        total += carried
        made.append(Mark(number * BIN_NS, total))
    return made


def test_tcp_efficiency() -> None:
    """RFC 6349 section 4.2: 102000 bytes, 2000 of them sent again; it prints 98.03 %, cut and not rounded."""
    found = tcp_efficiency(102_000, 2000)
    assert found is not None
    assert found * 100 == pytest.approx(98.0392, abs=1e-4)
    assert tcp_efficiency(0, 0) is None


def test_buffer_delay() -> None:
    """RFC 6349 section 4.2: 25 ms at rest and 32 ms under load are 28 %."""
    assert buffer_delay(0.025, 0.032) == pytest.approx(0.28)
    assert buffer_delay(0, 0.032) is None


def test_transfer_time_ratio() -> None:
    """RFC 6349 section 4.1: 12 s for what could take 8 s is 1.5; rates are the other way round."""
    assert transfer_time_ratio(best_bps=1 / 8, measured_bps=1 / 12) == pytest.approx(1.5)
    assert transfer_time_ratio(best_bps=1, measured_bps=0) is None


def test_a_rate_that_is_steady_from_the_start_costs_one_second() -> None:
    """The rule: measuring begins at the end of the first whole second whose halves differ by at most 5 %."""
    assert warm_up(marks(*[100] * 9)) is None
    assert warm_up(marks(*[100] * 10)) == (10, True)
    assert warm_up(marks(*[100] * 5, *[105] * 5)) == (10, True)
    assert warm_up(marks(*[100] * 5, *[106] * 5)) is None


def test_slow_start_is_cut_away() -> None:
    """RFC 5681 section 3.1: it doubles each round trip, until the line is full."""
    growing = [2**number for number in range(11)]
    cut = warm_up(marks(*growing, *[2048] * 15))
    assert cut is not None
    assert cut.steady
    # Within the steady second only the first two bins of the last growth may be left, by the 5 %.
    assert cut.begin >= len(growing) + 8


def test_a_rate_that_never_gets_steady_is_cut_after_three_seconds() -> None:
    """The rule's other half; then it is told that it was not steady."""
    wild = marks(*[100, 100, 100, 100, 100, 400, 400, 400, 400, 400] * 4)
    assert warm_up(wild[:30]) is None
    assert warm_up(wild) == (30, False)


def test_nothing_at_all_is_not_steady() -> None:
    """Standing still differs by nothing from standing still, and is no rate."""
    assert warm_up(marks(*[0] * 20)) is None
    assert warm_up(marks(*[0] * 30)) == (30, False)


@given(each=st.lists(st.integers(0, 10**9), max_size=60))
def test_no_more_than_three_seconds_are_ever_cut(each: list[int]) -> None:
    """Whatever comes, a run is bounded; and more marks never move a cut that was found."""
    found = warm_up(marks(*each))
    if len(each) * BIN_NS >= MOST_WARM_UP_NS:
        assert found is not None
    if found is not None:
        assert found.begin * BIN_NS <= MOST_WARM_UP_NS
        assert warm_up(marks(*each, 5, 7)) == found


def test_goodput_is_all_bytes_over_all_time_and_the_spread_is_that_of_bins() -> None:
    """NIST e-Handbook 7.2.6.2 for the percentiles: of 1 to 9, the 10th is 1, the 50th 5, the 90th 9."""
    found = goodput(marks(1000, *[number * 12_500 for number in range(1, 10)]), 1)
    assert found is not None
    assert found.bps == pytest.approx(5e6)
    assert found.seconds == pytest.approx(0.9)
    assert (found.low_bps, found.median_bps, found.high_bps) == pytest.approx((1e6, 5e6, 9e6))
    assert found.bins == 9


def test_a_late_mark_is_a_mark_of_its_own_time() -> None:
    """Rates are taken over the time that passed, not over the time that should have."""
    found = goodput([Mark(0, 0), Mark(BIN_NS, 100), Mark(3 * BIN_NS, 300)])
    assert found is not None
    assert found.low_bps == found.high_bps == pytest.approx(8000)


def test_no_time_is_no_goodput() -> None:
    """No evidence is not a rate of nothing."""
    assert goodput([]) is None
    assert goodput([Mark(5, 9)]) is None
    assert goodput([Mark(5, 9), Mark(5, 10)]) is None


@pytest.mark.parametrize(
    ("signs", "found"),
    [
        (Signs(waiting=0.05), Limit.FAR_END),
        (Signs(processor=0.9), Limit.PROCESSOR),
        (Signs(interrupts=0.9), Limit.PROCESSOR),
        (Signs(port=0.98), Limit.INTERFACE),
        (Signs(port=0.98, port_is_handoff=True), Limit.UNKNOWN),
        (Signs(handoff=0.95), Limit.LINE),
        (Signs(idle_s=0.008, loaded_s=0.010), Limit.LINE),
        (Signs(idle_s=0.0001, loaded_s=0.0009), Limit.UNKNOWN),
        (Signs(idle_s=0.008, loaded_s=0.0099), Limit.UNKNOWN),
        (Signs(least_s=0.008, mean_s=0.010), Limit.LINE),
        (Signs(lost=0.001), Limit.LINE),
        (Signs(window=0.5), Limit.WINDOW),
        (Signs(), Limit.UNKNOWN),
        # several at once: what is nearer to us or to the far end speaks first, and a queue before a window
        (Signs(waiting=0.2, lost=0.01), Limit.FAR_END),
        (Signs(processor=0.95, idle_s=0.001, loaded_s=0.1), Limit.PROCESSOR),
        (Signs(window=0.9, idle_s=0.001, loaded_s=0.1), Limit.LINE),
    ],
)
def test_what_limited_a_run_is_known_by_its_signs(signs: Signs, found: Limit) -> None:
    """RFC 5136 section 2: capacity is the path's; thresholds are ours (no published source)."""
    assert limit(signs)[0] is found


def test_every_limit_but_the_unknown_has_a_rule() -> None:
    """The table has no gap: what can be told can be found."""
    assert {what for what, _, _ in RULES} | {Limit.UNKNOWN} == set(Limit)
