"""What we claim of our clock is what the kernel says of it."""

from ctypes import Array, c_long

import pytest

from tests.store.backends import event
from wanwatch import clock

TIME_OK, TIME_INS, TIME_ERROR = 0, 1, 5  # adjtimex(2)


class Kernel:
    """Answers as adjtimex(2) does: the fourth word of struct timex is the maximum error in microseconds."""

    def __init__(self, state: int, max_error_us: int) -> None:
        self._said = state, max_error_us

    def adjtimex(self, timex: Array[c_long]) -> int:
        """Fill in the answer; modes must be zero, or something would be set."""
        assert timex[0] == 0
        timex[3] = self._said[1]
        return self._said[0]


@pytest.mark.parametrize(
    ("state", "max_error_us", "bound_us"),
    [(TIME_OK, 2_500, 2_500), (TIME_INS, 2_500, 2_500), (TIME_ERROR, 16_000_000, None), (-1, 0, None)],
)
def test_a_clock_is_set_only_if_the_kernel_says_so(
    monkeypatch: pytest.MonkeyPatch, state: int, max_error_us: int, bound_us: int | None
) -> None:
    """adjtimex(2): TIME_ERROR while nothing keeps the clock; its maximum error otherwise, and not its estimated one."""
    monkeypatch.setattr(clock, "_LIBC", Kernel(state, max_error_us))
    assert clock.wall_clock_error_us() == bound_us


@pytest.mark.parametrize(
    ("state", "quality"),
    [
        (TIME_OK, {"synchronised": True, "max_error_s": 0.0025}),
        (TIME_ERROR, {"synchronised": False, "max_error_s": None}),
    ],
)
def test_an_event_says_how_good_the_clock_was(
    monkeypatch: pytest.MonkeyPatch, state: int, quality: dict[str, bool | float | None]
) -> None:
    """As it stood when the event was told; what the event held besides stays."""
    monkeypatch.setattr(clock, "_LIBC", Kernel(state, 2_500))
    told = clock.with_clock_quality(event("outage-fibre", 0, detail={"cause": "unknown"}))
    assert told.detail == {"cause": "unknown", "clock": quality}


def test_the_kernel_answers() -> None:
    """Asking changes nothing, and gives nothing or a bound that is not negative."""
    bound_us = clock.wall_clock_error_us()
    assert bound_us is None or bound_us >= 0
