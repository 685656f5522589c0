"""What the reflector claims of its clock is what the kernel says."""

import pytest

from wanwatch.core.wire.stamp import ErrorEstimate
from wanwatch.reflector._clock import ClockQuality, ask_kernel, error_estimate, judge_timex

TIME_OK, TIME_ERROR, STA_UNSYNC = 0, 5, 0x0040  # adjtimex(2)


@pytest.mark.parametrize(
    ("answer", "status", "max_error_us", "quality"),
    [
        (TIME_OK, 0, 2_500, ClockQuality(synchronised=True, error_s=0.0025)),
        (TIME_ERROR, STA_UNSYNC, 16_000_000, ClockQuality(synchronised=False, error_s=16.0)),
        (TIME_ERROR, 0, 2_500, ClockQuality(synchronised=False, error_s=0.0025)),
        (TIME_OK, STA_UNSYNC, 2_500, ClockQuality(synchronised=False, error_s=0.0025)),
        (-1, 0, 0, ClockQuality(synchronised=False, error_s=16.0)),
    ],
)
def test_a_clock_is_synchronised_only_if_the_kernel_says_so(
    answer: int, status: int, max_error_us: int, quality: ClockQuality
) -> None:
    """RFC 4656 section 4.1.2: S is set only for a clock that an external source keeps; adjtimex(2) says whether."""
    assert judge_timex(answer, status, max_error_us) == quality


@pytest.mark.parametrize("error_s", [1e-12, 2.0**-32, 255 * 2.0**-32, 256 * 2.0**-32, 0.001, 0.00152587890625, 1, 16.0])
def test_an_estimate_never_promises_more_than_the_kernel(error_s: float) -> None:
    """RFC 4656 section 4.1.2: multiplier times 2 to the scale, multiplier never 0; rounded up by less than 1 %."""
    estimate = error_estimate(ClockQuality(synchronised=True, error_s=error_s))
    assert 1 <= estimate.multiplier <= 255
    assert 0 <= estimate.scale <= 63
    assert max(error_s, 2.0**-32) <= estimate.seconds <= max(error_s * 1.01, 2.0**-32)


def test_a_known_estimate_has_a_known_word() -> None:
    """RFC 4656 section 4.1.2, computed: 100 * 2**16 * 2**-32 s, unsynchronised, NTP; any equal word will do."""
    estimate = error_estimate(ClockQuality(synchronised=False, error_s=0.00152587890625))
    assert estimate == ErrorEstimate(synchronized=False, ptp=False, scale=15, multiplier=200)


def test_the_kernel_answers() -> None:
    """Asking changes nothing and gives a bound that is more than nothing."""
    assert ask_kernel().error_s > 0
