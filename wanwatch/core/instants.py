"""Instants as people and scripts read them: RFC 3339 text to Unix nanoseconds and back.

Sources:     RFC 3339 sections 5.6 (grammar), 5.7 (restrictions) and 4.3 (the offset -00:00).
Departures:  a leap second (23:59:60) is refused, since Unix time has no number for it; digits of a fraction beyond
             the ninth are cut off.
"""

import re
from datetime import UTC, datetime, timedelta
from typing import Final

from wanwatch.core.errors import WanwatchError

_GRAMMAR: Final = re.compile(
    r"(\d{4}-\d\d-\d\d)[Tt](\d\d:\d\d:\d\d)(?:\.(\d+))?([Zz]|[+-](?:[01]\d|2[0-3]):[0-5]\d)", re.ASCII
)
_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_SECOND: Final = timedelta(seconds=1)
_NS_PER_US: Final = 1_000
_NS_PER_S: Final = 1_000_000_000


class InstantError(WanwatchError):
    """A text that does not name an instant.

    Attributes:
        text: What was given.
        reason: Why it is no instant.
    """

    def __init__(self, text: str, reason: str) -> None:
        self.text = text
        self.reason = reason
        super().__init__(f"instant {text!r}: {reason}; write it as 2026-11-03T08:30:00Z (RFC 3339)")


def instant_text(unix_ns: int) -> str:
    """Return the instant in UTC, with six digits of a second and `Z`; what is below a microsecond is cut off."""
    instant = _EPOCH + timedelta(microseconds=unix_ns // _NS_PER_US)
    return instant.isoformat(timespec="microseconds").replace("+00:00", "Z")


def instant_from_text(text: str) -> int:
    """Return Unix nanoseconds of an RFC 3339 instant of any offset.

    Raises:
        InstantError: The text is no RFC 3339 instant, no date of the calendar, or a leap second.
    """
    parts = _GRAMMAR.fullmatch(text)
    if parts is None:
        raise InstantError(text, "not a date, a time and an offset from UTC")
    date, time, fraction, offset = parts.groups()
    if time.endswith(":60"):
        raise InstantError(text, "a leap second has no Unix time, take the second before or after it")
    try:
        whole = datetime.fromisoformat(f"{date}T{time}{offset.upper()}")
    except ValueError as error:
        raise InstantError(text, str(error)) from error
    return (whole - _EPOCH) // _SECOND * _NS_PER_S + int((fraction or "0")[:9].ljust(9, "0"))
