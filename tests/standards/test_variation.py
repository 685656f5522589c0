"""Delay variation, jitter and loss patterns against the documents that define them.

Sources: RFC 3393 and RFC 5481 section 4 (from memory; the values are computed); RFC 3550 section 6.4.1 and appendix
A.8; RFC 3357 (its worked example is from memory; the values are computed).
"""

from fractions import Fraction
from itertools import pairwise

import pytest

from wanwatch.core.account.variation import (
    LossRuns,
    inter_loss_period_lengths,
    interarrival_jitter,
    ipdv,
    loss_distances,
    loss_periods,
    loss_runs,
    pdv,
    period_lengths,
    scaled_jitter,
)

U = L = None
TRANSITS = (50, 52, 49, 55, 50, 49)
"""Sent at 0, 20, 40, 60, 80 and 100 ms; received at 50, 72, 89, 115, 130 and 149 ms."""
SOME_LOST = [bool(word) for word in (0, 1, 0, 0, 1, 0, 1, 0, 1, 1)]
MORE_LOST = [bool(word) for word in (0, 1, 1, 0, 0, 0, 1, 0, 1, 1, 1, 0)]


@pytest.mark.parametrize(
    ("delays", "differences", "above_least"),
    [
        ([20, 10, 20, 25, 20], [U, -10, 10, 5, -5], [10, 0, 10, 15, 10]),  # RFC 5481 section 4, from memory
        ([20, L, 22, 25, L, L, 21, 24], [U, U, U, 3, U, U, U, 3], [0, L, 2, 5, L, L, 1, 4]),
        ([30, 30, 30], [U, 0, 0], [0, 0, 0]),
        ([1020, 1010, 1020, 1025, 1020], [U, -10, 10, 5, -5], [10, 0, 10, 15, 10]),  # the first, clocks 1 s apart
        ([L, L], [U, U], [L, L]),
        ([], [], []),
    ],
)
def test_ipdv_is_to_the_probe_before_and_pdv_to_the_least(
    delays: list[float | None], differences: list[float | None], above_least: list[float | None]
) -> None:
    """RFC 3393: defined only when both arrived. RFC 5481: PDV is never negative. Offset clocks change neither."""
    assert ipdv(delays) == differences
    assert pdv(delays) == above_least


def test_jitter_is_a_filter_of_one_sixteenth() -> None:
    """RFC 3550 section 6.4.1: J += (|D| - J) / 16; computed from the formula."""
    expected = [0, 0.125, 0.3046875, 0.66064453125, 0.931854248046875, 0.9361133575439453]
    assert interarrival_jitter(TRANSITS) == pytest.approx(expected, rel=1e-15)


def test_jitter_in_units_of_the_media_clock() -> None:
    """RFC 3550 section 6.4.1: in timestamp units, here of 8 kHz, the same filter gives eight times as much."""
    expected = [0, 1, 2.4375, 5.28515625, 7.454833984375, 7.4889068603515625]
    assert interarrival_jitter(8 * transit for transit in TRANSITS) == pytest.approx(expected, rel=1e-15)


def test_the_whole_number_form_of_jitter() -> None:
    """RFC 3550 appendix A.8: J += |D| - ((J + 8) >> 4), reported J >> 4; computed from the formula."""
    scaled = [0]
    for before, after in pairwise(TRANSITS):
        scaled.append(scaled_jitter(scaled[-1], 8 * (after - before)))
    assert scaled == [0, 16, 39, 85, 120, 120]
    assert [jitter >> 4 for jitter in scaled] == [0, 1, 2, 5, 7, 7]


def test_alternating_transits_approach_their_difference() -> None:
    """RFC 3550 section 6.4.1: |D| = 4 a hundred packets long is 4(1 - (15/16)^99)."""
    last = interarrival_jitter(50 + 4 * (number % 2) for number in range(100))[-1]
    assert last == pytest.approx(3.9932823657428718, rel=1e-14)


def test_constant_transits_have_no_jitter() -> None:
    """RFC 3550 section 6.4.1: no difference, no jitter."""
    assert interarrival_jitter([50] * 9) == [0] * 9


@pytest.mark.parametrize(
    ("lost", "distances", "periods"),
    [
        (SOME_LOST, [0, 0, 0, 0, 3, 0, 2, 0, 2, 1], [0, 1, 0, 0, 2, 0, 3, 0, 4, 4]),  # the document's, from memory
        (MORE_LOST, [0, 0, 1, 0, 0, 0, 4, 0, 2, 1, 1, 0], [0, 1, 1, 0, 0, 0, 2, 0, 3, 3, 3, 0]),
    ],
)
def test_streams_of_loss_distance_and_loss_period(lost: list[bool], distances: list[int], periods: list[int]) -> None:
    """RFC 3357: the distance to the previous loss, and the ordinal of the run."""
    assert loss_distances(lost) == distances
    assert loss_periods(lost) == periods


def test_lengths_of_loss_periods_and_between_them() -> None:
    """RFC 3357: four runs, the last of two; each begins so many probes after the last loss (the first: 0)."""
    assert period_lengths(SOME_LOST) == [1, 1, 1, 2]
    assert inter_loss_period_lengths(SOME_LOST) == [0, 3, 2, 2]
    assert inter_loss_period_lengths([True, True, False, True]) == [0, 2]


def test_runs_of_loss_have_a_number_a_longest_and_a_mean() -> None:
    """Six of twelve lost in three runs; computed."""
    found = loss_runs(period_lengths(MORE_LOST))
    assert found == LossRuns(runs=3, longest=3, lost=6)
    assert found.mean_length == Fraction(2)
    assert Fraction(found.lost, len(MORE_LOST)) == Fraction(1, 2)


def test_a_stream_without_loss_has_no_runs_and_no_mean_length() -> None:
    """No run is not a run of length zero."""
    assert loss_runs(period_lengths([False] * 5)) == LossRuns(0, 0, 0)
    assert loss_runs([]).mean_length is None
