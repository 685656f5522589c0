"""The head of an HTTP request, as far as the speed far end has to know it. Pure.

Sources:     RFC 9112 sections 2 to 5 (message format); RFC 6750 section 2.1 (bearer token in a header).
Departures:  one request a connection; only what the three resources need is read.
"""

import hmac
import re
from typing import Final, NamedTuple
from urllib.parse import parse_qs, urlsplit

END: Final = b"\r\n\r\n"
_LINE: Final = re.compile(r"([A-Z]+) (/\S*) HTTP/1\.[01]")
_FIELD: Final = re.compile(r"([!#$%&'*+.^_`|~0-9A-Za-z-]+):[ \t]*(.*?)[ \t]*")
_TEST: Final = re.compile(r"[0-9A-Za-z]{1,32}")
_NUMBER: Final = re.compile(r"[0-9]{1,18}")


class Head(NamedTuple):
    """What a request asks.

    Attributes:
        method: Such as GET.
        path: Without the query.
        size_bytes: From the query `bytes`; None where it is not given; -1 where it is no number.
        length_bytes: Content-Length; None where it is missing or no number.
        expects: Whether the sender waits for 100 (RFC 9110 section 10.1.1).
        token: The bearer token, None without one.
        test: From the query `test`: what the client calls the test that a download belongs to; None without one.
    """

    method: str
    path: str
    size_bytes: int | None
    length_bytes: int | None
    expects: bool
    token: str | None
    test: str | None

    def shows(self, token: str) -> bool:
        """Whether it shows the right *token*; takes as long for a wrong one."""
        return self.token is not None and hmac.compare_digest(self.token.encode(), token.encode())


def parse_head(data: bytes) -> Head | None:
    """Read the head of a request, without its empty line; None if it is none."""
    first, *lines = data.decode("latin-1").split("\r\n")
    line = _LINE.fullmatch(first)
    fields = [_FIELD.fullmatch(text) for text in lines]
    if line is None or None in fields:
        return None
    values = {field[1].lower(): field[2] for field in fields if field is not None}
    try:
        url = urlsplit(line[2])
    except ValueError:
        return None
    query = parse_qs(url.query, keep_blank_values=True)
    asked, test = query.get("bytes"), query.get("test", [""])[-1]
    scheme, _, token = values.get("authorization", "").partition(" ")
    return Head(
        line[1],
        url.path,
        None if asked is None else _number(asked[-1], -1),
        _number(values.get("content-length", ""), None),
        values.get("expect", "").lower() == "100-continue",
        token.strip() if scheme.lower() == "bearer" and token.strip() else None,
        test if _TEST.fullmatch(test) else None,
    )


def _number(text: str, otherwise: int | None) -> int | None:
    return int(text) if _NUMBER.fullmatch(text) else otherwise
