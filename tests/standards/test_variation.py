"""Delay variation, jitter and loss patterns against the documents that define them.

Sources: RFC 3393 and RFC 5481 section 4 (from memory; the values are computed); RFC 3550 section 6.4.1 and appendix
A.8; RFC 3357 (its worked example is from memory; the values are computed).
"""

from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest

from wanwatch.core.account.variation import LossRuns, scaled_jitter
from wanwatch.core.model import Kind, Role, Series, Span
from wanwatch.core.ports import MARK_LOST, HourMinutes
from wanwatch.report.samples import Collector, Probes, RawHour
from wanwatch.report.sequence import InOrder, Walk, in_order

L = None
MINUTE_US = 60_000_000
TRANSITS = (50, 52, 49, 55, 50, 49)
"""Sent at 0, 20, 40, 60, 80 and 100 ms; received at 50, 72, 89, 115, 130 and 149 ms."""
SOME_LOST = [bool(word) for word in (0, 1, 0, 0, 1, 0, 1, 0, 1, 1)]
MORE_LOST = [bool(word) for word in (0, 1, 1, 0, 0, 0, 1, 0, 1, 1, 1, 0)]


def words(delays: Sequence[int | None]) -> "np.ndarray[tuple[int], np.dtype[np.uint32]]":
    return np.array([MARK_LOST if delay is None else delay for delay in delays], np.uint32)


def walk(delays: Sequence[int | None]) -> Walk:
    """A probe a minute, so that the jitter is read after each of them."""
    walk = Walk()
    walk.take(np.ones(len(delays), np.int64), np.arange(len(delays), dtype=np.int64) * MINUTE_US, words(delays))
    return walk


def gathered(delays: Sequence[int | None]) -> Probes:
    """The same within one hour."""
    collector = Collector([Span(0, 3600 * 10**9)])
    series = Series("fibre", "near", Kind.ECHO, Role.LINE)
    minutes, told = tuple(range(len(delays))), tuple(word.tobytes() for word in words(delays))
    ones, none = (1,) * len(delays), (0,) * len(delays)
    collector.take(RawHour(HourMinutes(series, 0, minutes, ones, ones, none, none, (bytes(4),) * len(delays), told)))
    return collector.done()


def jitter(transits: Sequence[int]) -> list[float]:
    """The running jitter after each arrival but the first."""
    return [float(reading) for part in walk(transits).done().readings for reading in part]


def runs(lost: Sequence[bool]) -> LossRuns | None:
    return in_order([walk([L if missing else 9 for missing in lost])]).runs


@pytest.mark.parametrize(
    ("delays", "differences", "above_least"),
    [
        ([20, 10, 20, 25, 20], [-10, 10, 5, -5], [10, 0, 10, 15, 10]),  # RFC 5481 section 4, from memory
        ([20, L, 22, 25, L, L, 21, 24], [3, 3], [0, 2, 5, 1, 4]),
        ([30, 30, 30], [0, 0], [0, 0, 0]),
        ([1020, 1010, 1020, 1025, 1020], [-10, 10, 5, -5], [10, 0, 10, 15, 10]),  # the first, clocks 1 s apart
    ],
)
def test_ipdv_is_to_the_probe_before_and_pdv_to_the_least(
    delays: list[int | None], differences: list[int], above_least: list[int]
) -> None:
    """RFC 3393: defined only when both arrived. RFC 5481: PDV is never negative. Offset clocks change neither."""
    sizes = [abs(difference) for difference in differences]
    assert in_order([walk(delays)]).ipdv_us == Fraction(sum(sizes), len(sizes))
    assert gathered(delays).variation.tolist() == sorted(above_least)


def test_what_never_arrived_has_no_variation() -> None:
    """RFC 3393: undefined, which is not zero."""
    assert in_order([walk([L, L])]) == InOrder(None, None, LossRuns(1, 2, 2))
    assert gathered([L, L]).variation.tolist() == []


def test_jitter_is_a_filter_of_one_sixteenth() -> None:
    """RFC 3550 section 6.4.1: J += (|D| - J) / 16; computed from the formula."""
    expected = [0.125, 0.3046875, 0.66064453125, 0.931854248046875, 0.9361133575439453]
    assert jitter(TRANSITS) == pytest.approx(expected, rel=1e-14)


def test_jitter_in_units_of_the_media_clock() -> None:
    """RFC 3550 section 6.4.1: in timestamp units, here of 8 kHz, the same filter gives eight times as much."""
    expected = [1, 2.4375, 5.28515625, 7.454833984375, 7.4889068603515625]
    assert jitter([8 * transit for transit in TRANSITS]) == pytest.approx(expected, rel=1e-14)


def test_the_whole_number_form_of_jitter() -> None:
    """RFC 3550 appendix A.8: J += |D| - ((J + 8) >> 4), reported J >> 4; computed from the formula."""
    scaled = [0]
    for before, after in pairwise(TRANSITS):
        scaled.append(scaled_jitter(scaled[-1], 8 * (after - before)))
    assert scaled == [0, 16, 39, 85, 120, 120]
    assert [jitter >> 4 for jitter in scaled] == [0, 1, 2, 5, 7, 7]


def test_alternating_transits_approach_their_difference() -> None:
    """RFC 3550 section 6.4.1: |D| = 4 a hundred packets long is 4(1 - (15/16)^99)."""
    last = jitter([50 + 4 * (number % 2) for number in range(100)])[-1]
    assert last == pytest.approx(3.9932823657428718, rel=1e-13)


def test_constant_transits_have_no_jitter() -> None:
    """RFC 3550 section 6.4.1: no difference, no jitter."""
    assert jitter([50] * 9) == [0] * 8


def test_runs_of_loss_have_a_number_a_longest_and_a_mean() -> None:
    """RFC 3357, whose worked example has four loss periods, the last of two (from memory); the other is computed."""
    assert runs(SOME_LOST) == LossRuns(runs=4, longest=2, lost=5)
    found = runs(MORE_LOST)
    assert found == LossRuns(runs=3, longest=3, lost=6)
    assert found.mean_length == Fraction(2)


def test_a_stream_without_loss_has_no_runs_and_no_mean_length() -> None:
    """No run is not a run of length zero."""
    found = runs([False] * 5)
    assert found == LossRuns(0, 0, 0)
    assert found.mean_length is None
