"""Lengths of time in words, as everything but a report's page says them."""

from typing import Final

_MINUTE_S: Final = 60
_HOUR_S: Final = 3600
_DAY_S: Final = 24 * _HOUR_S
_DAYS_FROM_S: Final = 4 * _DAY_S
"""Contracts count the hours of a repair; of a line that was up for weeks nobody does."""


def duration(seconds: float) -> str:
    """Say a length of time: `4.2 s`, `3 min 05 s`, `2 h 07 min`, `12 days 3 h`."""
    if round(seconds, 1) < _MINUTE_S:
        return f"{seconds:.1f} s"
    whole = round(seconds)
    if whole < _HOUR_S:
        return f"{whole // _MINUTE_S} min {whole % _MINUTE_S:02d} s"
    if whole < _DAYS_FROM_S:
        return f"{whole // _HOUR_S} h {whole % _HOUR_S // _MINUTE_S:02d} min"
    return f"{whole // _DAY_S} days {whole % _DAY_S // _HOUR_S} h"
