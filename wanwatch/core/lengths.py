"""Lengths of time in words, as everything but a report's page says them."""

from typing import Final

_MINUTE_S: Final = 60
_HOUR_S: Final = 3600


def duration(seconds: float) -> str:
    """Say a length of time: `4.2 s`, `3 min 05 s`, `2 h 07 min`."""
    if seconds < _MINUTE_S:
        return f"{seconds:.1f} s"
    whole = round(seconds)
    if whole < _HOUR_S:
        return f"{whole // 60} min {whole % 60:02d} s"
    return f"{whole // 3600} h {whole % 3600 // 60:02d} min"
