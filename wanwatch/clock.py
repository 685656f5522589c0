"""This machine's clocks, and what the kernel knows of their error."""

import ctypes
import time
from collections.abc import Mapping
from dataclasses import replace
from typing import Final

from wanwatch.core.model import Event, Json

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


def with_clock_quality(event: Event) -> Event:
    """Return *event* with what is known of the wall clock now, by which its instants are told, in `detail.clock`."""
    return replace(event, detail={**event.detail, "clock": clock_quality()})


def clock_quality() -> dict[str, Json]:
    """Return what is known of the wall clock now.

    That is `synchronised`, whether anything disciplines the clock, and `max_error_s`, the most by which it can be off;
    None where nothing bounds that.
    """
    error_us = wall_clock_error_us()
    return {"synchronised": error_us is not None, "max_error_s": None if error_us is None else error_us / 1e6}


_LIBC: Final = ctypes.CDLL(None)


def wall_clock_or_epoch_ns(environ: Mapping[str, str]) -> int:
    """Return SOURCE_DATE_EPOCH in Unix nanoseconds where it is set, else the wall clock.

    So a report can be made again byte for byte (https://reproducible-builds.org/specs/source-date-epoch/). One that is
    no whole number of seconds is as if it were not set.
    """
    said = environ.get("SOURCE_DATE_EPOCH", "")
    return int(said) * 1_000_000_000 if said.isdecimal() else RealClock().now_unix_ns()
