"""Exact limits and tests of proportions, against a handbook and a reference library.

Sources: NIST/SEMATECH e-Handbook 7.2.4.1 (exact 90 % interval of 4 in 20); SciPy (`scipy.stats`), the reference
library.
"""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from wanwatch.core.account.proportion import Said, at_least, decide, limits, still_needed

SHARES = st.fractions(min_value=Fraction(1, 50), max_value=Fraction(49, 50), max_denominator=1000)
COUNTS = st.integers(1, 300).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))


def test_the_limits_of_the_handbooks_example() -> None:
    """NIST 7.2.4.1: 4 defective of 20 give 0.071354 to 0.401029 at 90 %, that is 95 % to each side."""
    found = limits(4, 20)
    assert found.low == pytest.approx(0.071354, abs=5e-7)
    assert found.high == pytest.approx(0.401029, abs=1e-6)  # the sixth digit is the handbook's own search


@given(COUNTS)
def test_the_limits_are_those_of_the_reference_library(counts: tuple[int, int]) -> None:
    """Clopper and Pearson's limits, as SciPy has them for an interval of twice the doubt."""
    found, theirs = limits(*counts), stats.binomtest(*counts).proportion_ci(confidence_level=0.9, method="exact")
    assert found.low == pytest.approx(theirs.low, abs=1e-9)
    assert found.high == pytest.approx(theirs.high, abs=1e-9)


@given(COUNTS, SHARES)
def test_the_tail_is_that_of_the_reference_library(counts: tuple[int, int], share: Fraction) -> None:
    """The survival function of the binomial distribution; of chances like 1e-290 its own eighth digit is off."""
    successes, trials = counts
    theirs = stats.binom.sf(successes - 1, trials, float(share))
    assert float(at_least(successes, trials, share)) == pytest.approx(theirs, rel=1e-9, abs=1e-200)


@given(COUNTS, SHARES)
def test_the_decision_is_that_of_the_reference_librarys_tests(counts: tuple[int, int], share: Fraction) -> None:
    """Two one-sided exact tests at 95 %; not looked at where a p-value lies within rounding of the limit."""
    successes, trials = counts
    more = stats.binomtest(successes, trials, float(share), alternative="greater").pvalue
    fewer = stats.binomtest(successes, trials, float(share), alternative="less").pvalue
    if min(abs(more - 0.05), abs(fewer - 0.05)) < 1e-9:
        return
    expected = Said.REACHED if more < 0.05 else Said.MISSED if fewer < 0.05 else Said.OPEN
    assert decide(successes, trials, share) is expected


@pytest.mark.parametrize(
    ("successes", "trials", "share", "said", "needed"),
    [
        (28, 28, Fraction(9, 10), Said.OPEN, 1),  # 0.9 ** 28 = 0.0523
        (29, 29, Fraction(9, 10), Said.REACHED, 0),  # 0.9 ** 29 = 0.0471
        (27, 30, Fraction(9, 10), Said.OPEN, 46),
        (22, 30, Fraction(9, 10), Said.MISSED, 0),
        (0, 0, Fraction(9, 10), Said.OPEN, 29),
        (40, 40, Fraction(1), Said.OPEN, None),  # no number of tests proves "always"
        (39, 40, Fraction(1), Said.MISSED, 0),
    ],
)
def test_too_few_tests_say_how_many_are_still_needed(
    successes: int, trials: int, share: Fraction, said: Said, needed: int | None
) -> None:
    """Powers of the share, reckoned by hand; the 46 by SciPy: 73 of 76 is the first run of successes that decides."""
    assert decide(successes, trials, share) is said
    assert still_needed(successes, trials, share) == needed


def test_a_share_that_no_number_of_tests_proves_in_a_life_is_given_up_at_once() -> None:
    """By ln 0.05 over ln 0.99999 it would take 299,572; of 999 in 1000 it takes 2995, as of 1 in 1000 to miss."""
    assert still_needed(5, 5, Fraction(99_999, 100_000)) is None
    assert still_needed(0, 0, Fraction(999, 1000)) == 2995
    assert still_needed(0, 10, Fraction(1, 1000)) == 2985
