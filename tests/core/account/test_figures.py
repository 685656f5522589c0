"""Exact figures: bounds around percentiles and ratios, against a slow model with infinite delays written out."""

import math
from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from wanwatch.core.account.figures import (
    Bounded,
    Ranked,
    delay_bounds,
    loss_bounds,
    missing_probes,
    percentile,
)

DELAYS = st.lists(st.integers(1, 1000), max_size=30)


def ranked(delays: list[int], unanswered: int = 0) -> Ranked:
    """Probes with these delays and so many without an answer."""
    ordered = sorted(delays)
    return Ranked(lambda rank: ordered[rank - 1], len(ordered), unanswered)


@given(DELAYS, st.integers(0, 5), st.integers(0, 5), st.integers(0, 5), st.integers(1, 99))
def test_supposed_probes_count_as_if_they_were_there(
    delays: list[int], unanswered: int, at_once: int, never: int, per_cent: int
) -> None:
    """Supposing probes answered at once, or never, equals adding zeros, or infinities, to the data."""
    share = Fraction(per_cent, 100)
    supposed = percentile(ranked(delays, unanswered), share, at_once=at_once, never=never)
    assert supposed == percentile(ranked([0] * at_once + delays, unanswered + never), share)


@given(DELAYS.filter(bool), st.integers(0, 5), st.integers(0, 20), st.integers(1, 99))
def test_the_bounds_enclose_the_value(delays: list[int], unanswered: int, missing: int, per_cent: int) -> None:
    """Whatever was missed, the true figure lies between the two ends."""
    found = delay_bounds(ranked(delays, unanswered), Fraction(per_cent, 100), missing)
    assert found.value is not None
    assert found.low is not None
    assert found.high is not None
    assert found.low <= found.value <= found.high


def test_a_percentile_that_falls_on_unanswered_probes_is_infinite() -> None:
    """Seven percent unanswered: the 95th percentile is no number, the median is."""
    probes = ranked([10_000] * 93, 7)
    assert percentile(probes, Fraction(95, 100)) == math.inf
    assert percentile(probes, Fraction(1, 2)) == 10_000


def test_loss_bounds_suppose_the_missing_probes_answered_or_lost() -> None:
    """10 of 1000 lost and 1000 missed: between 0.5 % and 50.5 %."""
    assert loss_bounds(10, 1000, 1000) == Bounded(value=Fraction(1, 100), low=Fraction(1, 200), high=Fraction(101, 200))


def test_missing_probes_follow_from_the_rate_of_the_observed_time() -> None:
    """One probe a second over 100 s, then 50 s unobserved: 50 are missing; no time at all, nobody can tell."""
    assert missing_probes(100, 100, 50) == 50
    assert missing_probes(100, 300, 1) == 1
    assert missing_probes(100, 100, 0) == 0
    assert missing_probes(0, 0, 50) is None
