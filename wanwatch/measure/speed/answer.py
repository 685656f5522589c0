"""The head of an HTTP answer, as far as a speed test has to know it. Pure.

Sources:     RFC 9112 sections 4 to 6 (status line, fields, length of a body); RFC 9110 section 15.4 (redirection);
             RFC 6585 section 6 (511).
Departures:  no redirection is followed: the bytes of a test must come from where the configuration says. An HTML page
             where bytes were asked for is taken for a portal's.
"""

import re
from typing import Final, NamedTuple

from wanwatch.core.account.speed_result import Ending

END: Final = b"\r\n\r\n"
MOST_HEAD_BYTES: Final = 16_384
_STATUS_LINE: Final = re.compile(r"HTTP/1\.[01] ([1-5][0-9]{2})(?: .*)?")
_NUMBER: Final = re.compile(r"[0-9]{1,18}")
_MOST_SHOWN: Final = 200
_PORTAL_STATUS: Final = 511


class Body(NamedTuple):
    """A body follows; *length* in bytes, None where it lasts until the connection ends."""

    length: int | None


class Trouble(NamedTuple):
    """There is nothing to measure, and why."""

    ending: Ending
    why: str


def read_answer(head: bytes) -> Body | Trouble | None:
    """Read a head without its empty line; None for an interim one (1xx), after which another follows."""
    first, *lines = head.decode("latin-1").split("\r\n")
    line = _STATUS_LINE.fullmatch(first)
    if line is None:
        return Trouble(Ending.MALFORMED, f"it begins with {_shown(first)!r}")
    fields = {name.strip().lower(): value.strip() for name, _, value in (text.partition(":") for text in lines)}
    status = int(line[1])
    return None if status < 200 else _judged(status, fields)  # noqa: PLR2004 - the least final status


def _judged(status: int, fields: dict[str, str]) -> Body | Trouble:
    if 300 <= status < 400:  # noqa: PLR2004 - RFC 9110 section 15.4
        return Trouble(Ending.REDIRECTED, f"status {status}, to {_shown(fields.get('location', 'nowhere'))}")
    if status == _PORTAL_STATUS:
        return Trouble(Ending.PORTAL, f"status {status}")
    if status >= 400:  # noqa: PLR2004 - likewise, 15.5 and 15.6
        return Trouble(Ending.HTTP_STATUS, f"status {status}")
    if fields.get("content-type", "").startswith("text/html"):
        return Trouble(Ending.PORTAL, "it is an HTML page")
    length = fields.get("content-length")
    if length is not None and not _NUMBER.fullmatch(length):
        return Trouble(Ending.MALFORMED, f"its length is {_shown(length)!r}")
    return Body(None if length is None else int(length))


def _shown(text: str) -> str:
    return "".join(letter if letter.isprintable() else "?" for letter in text[:_MOST_SHOWN])
