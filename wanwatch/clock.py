"""This machine's clocks, and what the kernel knows of their error."""

import ctypes
import time
from typing import Final

_TIMEX_BYTES: Final = 512
"""More than any architecture's struct timex."""
_MAXERROR_WORD: Final = 3
_TIME_ERROR: Final = 5


class RealClock:
    """This machine's monotonic and wall clocks (`wanwatch.core.ports.Clock`)."""

    now_ns = staticmethod(time.monotonic_ns)
    now_unix_ns = staticmethod(time.time_ns)


def wall_clock_error_us() -> int | None:
    """Return the most by which the wall clock can be off UTC, in microseconds; None where nothing disciplines it.

    Source: adjtimex(2), which changes nothing when its modes are zero.
    """
    words = (ctypes.c_long * (_TIMEX_BYTES // ctypes.sizeof(ctypes.c_long)))()
    state = _LIBC.adjtimex(words)
    return int(words[_MAXERROR_WORD]) if 0 <= state < _TIME_ERROR else None


_LIBC: Final = ctypes.CDLL(None)
