"""Percentiles by one stated method, so that two readers of a record get the same figure.

Sources:     NIST/SEMATECH e-Handbook of Statistical Methods, section 7.2.6.2 (the rule named R6 by Hyndman and Fan).
Departures:  none.
"""

from collections.abc import Sequence


def percentile(ordered: Sequence[float], share: float) -> float | None:
    """Return the value below which *share* of the values lie.

    Args:
        ordered: The values in ascending order; may be empty.
        share: 0.95 for the 95th percentile; between 0 and 1.

    Returns:
        A value in the unit of *ordered*, interpolated between two of them; None if there is none.

    Source: NIST/SEMATECH e-Handbook 7.2.6.2: share * (N + 1) = k + d gives Y[k] + d * (Y[k + 1] - Y[k]), counted from
    one, and the smallest or the largest value beyond the ends.
    """
    return quantile(ordered, share) if ordered else None


def quantile(ordered: Sequence[float], share: float) -> float:
    """Return the same of values that are surely there: *ordered* must not be empty."""
    position = share * (len(ordered) + 1)
    below = int(position)
    if below <= 0:
        return ordered[0]
    if below >= len(ordered):
        return ordered[-1]
    low, high = ordered[below - 1], ordered[below]
    return low + (position - below) * (high - low)
