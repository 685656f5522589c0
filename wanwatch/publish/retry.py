"""When to try again.

Sources:     Prometheus remote write 1.0 (2xx is done, 5xx is tried again, 429 may be, other 4xx never); RFC 9110
             section 10.2.3 (Retry-After, in seconds or as a date).
Departures:  a redirection is not followed, and is tried again: it may be a portal's, and says nothing of what was sent.
"""

from datetime import UTC
from email.utils import parsedate_to_datetime
from enum import Enum, auto
from typing import Final

from wanwatch.core.doubling import doubling

FIRST_S: Final = 1.0
LONGEST_S: Final = 300.0
MOST_HEEDED_S: Final = 3600.0
"""No receiver can silence a site for longer."""
_TOO_MANY: Final = 429


class Said(Enum):
    """What an answer means."""

    DONE = auto()
    AGAIN = auto()
    NEVER = auto()


def meaning(status: int) -> Said:
    """Return what a status code means for a request."""
    if 200 <= status < 300:  # noqa: PLR2004 - the class of success
        return Said.DONE
    return Said.NEVER if 400 <= status < 500 and status != _TOO_MANY else Said.AGAIN  # noqa: PLR2004 - of the client


def wait_s(attempt: int, retry_after: str | None, now_unix_s: float) -> float:
    """Return the seconds to wait after the *attempt*-th failure: what was asked for, or twice as long each time."""
    asked = asked_s(retry_after.strip(), now_unix_s) if retry_after else None
    return doubling(attempt, FIRST_S, LONGEST_S) if asked is None else min(asked, MOST_HEEDED_S)


def asked_s(written: str, now_unix_s: float) -> float | None:
    """Return the seconds that a Retry-After asks for; None if it is neither a number nor a date."""
    if written.isdecimal() and written.isascii():
        return float(written)
    try:
        date = parsedate_to_datetime(written)
    except (ValueError, OverflowError):
        return None
    # A date without a zone is Greenwich's (RFC 9110 section 5.6.7).
    return max(0.0, (date if date.tzinfo else date.replace(tzinfo=UTC)).timestamp() - now_unix_s)
