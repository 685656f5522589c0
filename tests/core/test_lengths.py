"""Lengths of time in words."""

import pytest

from wanwatch.core.lengths import duration


@pytest.mark.parametrize(
    ("seconds", "said"),
    [
        (0.0, "0.0 s"),
        (4.24, "4.2 s"),
        (59.94, "59.9 s"),
        (59.96, "1 min 00 s"),
        (3599.4, "59 min 59 s"),
        (3599.6, "1 h 00 min"),
        (95.9 * 3600, "95 h 54 min"),
        (96 * 3600.0, "4 days 0 h"),
        (12.6 * 86_400, "12 days 14 h"),
    ],
)
def test_a_length_is_said_in_the_two_units_that_fit_it(seconds: float, said: str) -> None:
    """No unit is full: a minute has no sixtieth second. Weeks are told in days, not in hundreds of hours."""
    assert duration(seconds) == said
