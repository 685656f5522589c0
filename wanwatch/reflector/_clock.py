"""How well the kernel says that its clock is set: what an error estimate may honestly claim.

Sources:     adjtimex(2); RFC 4656 section 4.1.2 (a set S bit means "synchronised to UTC by an external source").
Departures:  the kernel's *maximum* error is told, not its estimated one: a bound cannot flatter.
"""

import ctypes
import functools
import math
from typing import Final, NamedTuple

from wanwatch.core.wire.stamp import ErrorEstimate

_TIME_ERROR: Final = 5  # adjtimex's answer while nothing keeps the clock
_STA_UNSYNC: Final = 0x0040
_US_PER_S: Final = 1_000_000
_UNKNOWN_ERROR_S: Final = 16.0  # what the kernel itself claims of a clock that nothing keeps (NTP_PHASE_LIMIT)


class ClockQuality(NamedTuple):
    """Whether an outside source keeps the wall clock, and how far off it may be, in seconds."""

    synchronised: bool
    error_s: float


class _Timex(ctypes.Structure):
    """The head of `struct timex`; the rest is room for the kernel to write in (the struct has 208 bytes)."""

    _fields_ = (
        ("modes", ctypes.c_uint),
        ("offset", ctypes.c_long),
        ("freq", ctypes.c_long),
        ("maxerror", ctypes.c_long),
        ("esterror", ctypes.c_long),
        ("status", ctypes.c_int),
        ("rest", ctypes.c_byte * 256),
    )


@functools.cache
def _libc() -> ctypes.CDLL:
    return ctypes.CDLL(None, use_errno=True)


def judge_timex(answer: int, status: int, max_error_us: int) -> ClockQuality:
    """Read what adjtimex(2) said; *answer* is its return value, -1 if the call failed."""
    if answer < 0:
        return ClockQuality(synchronised=False, error_s=_UNKNOWN_ERROR_S)
    synchronised = answer != _TIME_ERROR and not status & _STA_UNSYNC
    return ClockQuality(synchronised=synchronised, error_s=max(1, max_error_us) / _US_PER_S)


def ask_kernel() -> ClockQuality:
    """Ask the kernel, without setting anything; "not synchronised" where it cannot be asked."""
    timex = _Timex()
    try:
        answer = int(_libc().adjtimex(ctypes.byref(timex)))
    except (OSError, AttributeError):
        answer = -1
    return judge_timex(answer, timex.status, timex.maxerror)


def error_estimate(quality: ClockQuality) -> ErrorEstimate:
    """Write *quality* as an estimate, rounded up: it must not promise more than the kernel does."""
    units = max(1, math.ceil(quality.error_s * 2**32))
    scale = max(0, units.bit_length() - 8)
    multiplier = -(-units >> scale)
    if multiplier >> 8:
        scale, multiplier = scale + 1, multiplier + 1 >> 1
    return ErrorEstimate(synchronized=quality.synchronised, ptp=False, scale=scale, multiplier=multiplier)
