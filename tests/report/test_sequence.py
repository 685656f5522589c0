"""Variation of delay and runs of loss over arrays, against their definitions probe by probe."""

from collections.abc import Sequence
from fractions import Fraction
from itertools import groupby, pairwise
from unittest.mock import patch

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wanwatch.core.account.variation import LossRuns
from wanwatch.core.ports import MARK_LATE, MARK_LOST, MARK_REFUSED, RTT_LIMIT
from wanwatch.report import sequence
from wanwatch.report.sequence import InOrder, Walk, in_order

PROBES = st.lists(
    st.tuples(
        st.sampled_from([1, 3]), st.integers(100, 90_000) | st.sampled_from([MARK_LOST, MARK_LATE, MARK_REFUSED])
    ),
    max_size=60,
)
EVERY_US = 7_000_000
"""Some nine probes to a minute."""


def walked(parts: Sequence[Sequence[tuple[int, int]]]) -> InOrder:
    """What comes of probes, each with its stretch and its word, that are handed over in parts."""
    walk, begin = Walk(), 0
    for part in parts:
        numbers = np.arange(begin, begin + len(part), dtype=np.int64)
        stretches = np.array([stretch for stretch, _ in part], np.int64)
        walk.take(stretches, numbers * EVERY_US, np.array([word for _, word in part], np.uint32))
        begin += len(part)
    return in_order([walk])


@given(PROBES, st.integers(1, 60))
def test_arrays_give_what_the_definitions_give(probes: list[tuple[int, int]], batch: int) -> None:
    """RFC 3393 and RFC 3357, whatever the seams: no pair and no run reaches from one stretch into another."""
    probes = sorted(probes, key=lambda probe: probe[0])
    stretches = [[word for _, word in part] for _, part in groupby(probes, key=lambda probe: probe[0])]
    pairs = [pair for words in stretches for pair in pairwise(words) if max(pair) < RTT_LIMIT]
    steps = [abs(after - before) for before, after in pairs]
    lost = [len(list(run)) for words in stretches for missing, run in groupby(words, key=_lost) if missing]
    with patch.object(sequence, "_BATCH", batch):
        found = walked([probes[n : n + 5] for n in range(0, len(probes), 5)])
    assert found.ipdv_us == (Fraction(sum(steps), len(steps)) if steps else None)
    assert found.runs == (LossRuns(len(lost), max(lost, default=0), sum(lost)) if probes else None)


def _lost(word: int) -> bool:
    return word in {MARK_LOST, MARK_LATE}


@given(st.lists(st.integers(100, 90_000) | st.just(MARK_LOST), min_size=2, max_size=80), st.integers(1, 20))
def test_running_jitter_is_that_of_the_definition(words: list[int], at_once: int) -> None:
    """RFC 3550 section 6.4.1 over the probes that arrived, read after the last of each minute; then the median."""
    arrived = [(number * EVERY_US // 60_000_000, word) for number, word in enumerate(words) if word < RTT_LIMIT]
    jitter, by_minute = 0.0, {}
    for (_, before), (minute, word) in pairwise(arrived):
        jitter += (abs(word - before) - jitter) / 16
        by_minute[minute] = jitter
    with patch.object(sequence, "_AT_ONCE", at_once):
        found = walked([[(1, word) for word in words]]).jitter_us
    expected = float(np.median(list(by_minute.values()))) if by_minute else None
    assert found == (None if expected is None else pytest.approx(expected, rel=1e-12))


def test_a_long_walk_does_not_leave_the_range_of_numbers() -> None:
    """A filter's powers over a month of quick probing would overflow; in pieces they do not."""
    alternating = [(1, 50_000 + 4_000 * (number % 2)) for number in range(60_000)]
    assert walked([alternating]).jitter_us == pytest.approx(4_000, rel=1e-9)


def test_a_run_goes_on_over_the_hour_and_ends_where_time_stops_to_count() -> None:
    """Three lost in a row are one run, in whichever hour they lie; an outage between is a seam."""
    ok, lost = (1, 9_000), (1, MARK_LOST)
    with patch.object(sequence, "_BATCH", 1):
        assert walked([[ok, lost], [lost], [lost, ok]]).runs == LossRuns(1, 3, 3)
        assert walked([[ok, lost], [(3, MARK_LOST), (3, 9_000)]]).runs == LossRuns(2, 1, 2)
        assert walked([[ok, lost], [lost]]).runs == LossRuns(1, 2, 2)


def test_a_refusal_ends_a_run_and_is_in_no_pair() -> None:
    """Somebody refused: that probe was neither lost nor answered."""
    found = walked([[(1, 9_000), (1, MARK_REFUSED), (1, 9_500), (1, MARK_LOST), (1, MARK_REFUSED), (1, MARK_LOST)]])
    assert found.ipdv_us is None
    assert found.runs == LossRuns(2, 1, 2)


def test_nothing_asked_gives_no_figure() -> None:
    """No evidence is not zero variation, nor no runs of loss."""
    assert in_order([]) == in_order([Walk()]) == InOrder(None, None, None)
