"""Pauses between tries."""

from hypothesis import given
from hypothesis import strategies as st

from wanwatch.core.doubling import doubling


def test_each_pause_is_twice_as_long_up_to_the_limit() -> None:
    """Exponential back-off: common practice, no published source."""
    assert [doubling(tries, 15, 1800) for tries in range(1, 10)] == [15, 30, 60, 120, 240, 480, 960, 1800, 1800]


@given(st.integers(1, 10**9), st.floats(1e-3, 1e9), st.floats(1e-3, 1e9))
def test_no_pause_is_longer_than_the_limit_however_often_one_tried(tries: int, first: float, longest: float) -> None:
    """Nor does a number without end come out of a letter that waits for years."""
    assert 0 < doubling(tries, first, longest) <= longest
