"""Percentiles against NIST/SEMATECH e-Handbook of Statistical Methods, section 7.2.6.2."""

import statistics
from typing import Final

import pytest

from wanwatch.core.account.percentile import percentile

# NIST/SEMATECH e-Handbook 7.2.6.2: twelve measurements.
DATA: Final = sorted(
    [95.1772, 95.1567, 95.1937, 95.1959, 95.1442, 95.0610, 95.1591, 95.1195, 95.1065, 95.0925, 95.1990, 95.1682]
)


@pytest.mark.parametrize(
    ("share", "expected"),
    [
        (0.90, 95.19807),  # p(N+1) = 11.7; the handbook prints 95.1981
        (0.50, 95.1579),  # 6.5: computed by the same rule, like the rows below
        (0.95, 95.1990),  # k >= N: the largest
        (0.99, 95.1990),
        (0.05, 95.0610),  # k = 0: the smallest
    ],
)
def test_percentiles_follow_the_handbook(share: float, expected: float) -> None:
    """NIST/SEMATECH e-Handbook 7.2.6.2: p(N+1) = k + d."""
    assert percentile(DATA, share) == pytest.approx(expected, abs=5e-6)


def test_the_other_usual_methods_give_other_figures() -> None:
    """Handbook 7.2.6.2 names other methods: rule R7 gives 95.19568 and the nearest rank 95.1959, so ours is neither."""
    r7 = statistics.quantiles(DATA, n=10, method="inclusive")[8]
    assert r7 == pytest.approx(95.19568, abs=5e-6)
    ours = percentile(DATA, 0.90)
    assert ours not in (pytest.approx(r7, abs=5e-6), pytest.approx(95.1959, abs=5e-6))


@pytest.mark.parametrize("tenth", range(1, 10))
def test_the_rule_is_the_exclusive_method_of_the_standard_library(tenth: int) -> None:
    """Hyndman-Fan R6 is `statistics.quantiles(method="exclusive")`, inside the data's range."""
    expected = statistics.quantiles(DATA, n=10, method="exclusive")[tenth - 1]
    assert percentile(DATA, tenth / 10) == pytest.approx(expected)


@pytest.mark.parametrize("share", [0.0, 0.05, 0.5, 0.95, 1.0])
def test_one_value_is_every_percentile(share: float) -> None:
    """Handbook 7.2.6.2 with N = 1: k is 0 or at least N for every share."""
    assert percentile([7.5], share) == 7.5


def test_no_values_have_no_percentile() -> None:
    """RFC 2681: an empty sample's statistic is undefined, not zero."""
    assert percentile([], 0.5) is None
