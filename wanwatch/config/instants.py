"""Instants as a person types them on the command line.

Sources:  RFC 3339 section 5.6 for full instants; a bare date is midnight in the site's own zone.
"""

import re
from datetime import UTC, datetime
from typing import Final
from zoneinfo import ZoneInfo

from wanwatch.core.errors import WanwatchError
from wanwatch.core.model import NS_PER_S, Span

_AWAY_S: Final = {"m": 60, "h": 3600, "d": 86_400, "w": 604_800}
_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)


class InstantError(WanwatchError):
    """A word on the command line is not an instant.

    Attributes:
        option: The option it was given to.
        text: What was given.
    """

    def __init__(self, option: str, text: str) -> None:
        super().__init__(
            f"{option} {text!r} is not an instant; write a date (2026-11-03), a date with a time "
            "(2026-11-03T14:00 or 2026-11-03T14:00:00Z), or how long ago (90m, 24h, 7d, 4w) or from now (+2h)"
        )
        self.option, self.text = option, text


class BackwardsError(WanwatchError):
    """A stretch of time on the command line ends before it begins.

    Attributes:
        since: What was given as its beginning.
        until: What was given as its end; None for now.
    """

    def __init__(self, since: str, until: str | None) -> None:
        end = "now" if until is None else f"--until {until!r}"
        mend = "add an --until that lies after it" if until is None else "swap them"
        super().__init__(f"--since {since!r} lies after {end}; {mend}")
        self.since, self.until = since, until


def parse_instant(option: str, text: str, zone: str, now_unix_ns: int) -> int:
    """Read an instant.

    Args:
        option: The option's name, for the error.
        text: A date, an RFC 3339 instant (with or without offset), an age (`24h`), or a time from now (`+2h`).
        zone: IANA name of the site's time zone, for instants without an offset.
        now_unix_ns: The present instant, for ages and times from now.

    Returns:
        Unix nanoseconds.

    Raises:
        InstantError: It is none of these.
    """
    if away := re.fullmatch(r"(\+?)(\d{1,6})([mhdw])", text):
        length_ns = int(away[2]) * _AWAY_S[away[3]] * NS_PER_S
        return now_unix_ns + length_ns if away[1] else now_unix_ns - length_ns
    try:
        instant = datetime.fromisoformat(text)
        if instant.tzinfo is None:
            instant = instant.replace(tzinfo=ZoneInfo(zone))
        elapsed = instant.astimezone(UTC) - _EPOCH
    except (ValueError, OverflowError) as error:  # OverflowError: in UTC it lies beyond the years 1 to 9999
        raise InstantError(option, text) from error
    return (elapsed.days * 86_400 + elapsed.seconds) * NS_PER_S + elapsed.microseconds * 1000


def parse_span(since: str | None, until: str | None, zone: str, now_unix_ns: int) -> Span:
    """Read the options `--since` and `--until`: from the beginning and to now where they are not given.

    Raises:
        InstantError: One of them is no instant.
        BackwardsError: The end lies before the beginning.
    """
    span = Span(
        parse_instant("--since", since, zone, now_unix_ns) if since else 0,
        parse_instant("--until", until, zone, now_unix_ns) if until else now_unix_ns,
    )
    if since and span.end_unix_ns < span.start_unix_ns:
        raise BackwardsError(since, until)
    return span
