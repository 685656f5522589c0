"""The judge's percentile, on values that are surely there, against NIST/SEMATECH e-Handbook 7.2.6.2."""

import pytest

from wanwatch.core.account.percentile import quantile

NIST = [95.1772, 95.1567, 95.1937, 95.1959, 95.1442, 95.0610, 95.1591, 95.1195, 95.1065, 95.0925, 95.1990, 95.1682]


@pytest.mark.parametrize(
    ("p", "expected"), [(0.90, 95.19807), (0.50, 95.1579), (0.95, 95.1990), (0.99, 95.1990), (0.05, 95.0610)]
)
def test_percentiles_are_those_of_the_handbook(p: float, expected: float) -> None:
    """NIST/SEMATECH e-Handbook 7.2.6.2, the worked example and its edges."""
    assert quantile(sorted(NIST), p) == pytest.approx(expected, abs=5e-6)


def test_one_value_is_every_percentile() -> None:
    """NIST/SEMATECH e-Handbook 7.2.6.2 with N = 1."""
    assert [quantile([7], p) for p in (0.0, 0.5, 0.95, 1.0)] == [7, 7, 7, 7]
