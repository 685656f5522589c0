"""Tokens for programs: random, so a plain SHA-256 keeps them; anybody can check a line with `sha256sum`.

Sources:     RFC 6750 (how it is shown), FIPS 180-4. NIST SP 800-63B, from memory: a secret of 112 random bits or more
             needs no salt and no slow hash.
"""

import hashlib
import re
from typing import Final

from wanwatch.core.errors import WanwatchError

MOST: Final = 100
_KEPT: Final = re.compile(r"sha256:([0-9a-f]{64})")


class TokenError(WanwatchError):
    """The text of a file of tokens is none. Never shows it.

    Attributes:
        reason: Why.
    """

    def __init__(self, *, reason: str) -> None:
        self.reason = reason
        super().__init__(f"tokens: {reason}")


def digest(secret: str) -> bytes:
    """Return what is kept of a secret that nobody can guess."""
    return hashlib.sha256(secret.encode("utf-8", "surrogateescape")).digest()


def token_line(token: str) -> str:
    """Return the line to keep of a token."""
    return f"sha256:{digest(token).hex()}"


def read_tokens(text: str) -> tuple[bytes, ...]:
    """Read a file of tokens: lines as `token_line` makes them and `#` comments, or one plain token and nothing else.

    Returns:
        The digest of each.

    Raises:
        TokenError: There is none, or something else stands there.
    """
    lines = [line.strip() for line in text.splitlines()]
    lines = [line for line in lines if line]
    if len(lines) == 1 and not lines[0].startswith(("sha256:", "#")):
        return (digest(lines[0]),)
    kept = [_KEPT.fullmatch(line) for line in lines if not line.startswith("#")]
    if not kept or None in kept:
        raise TokenError(
            reason="the file holds neither one plain token nor lines that 'wanwatch password --token' makes"
        )
    if len(kept) > MOST:
        raise TokenError(reason=f"the file holds more than {MOST} tokens")
    return tuple(bytes.fromhex(match[1]) for match in kept if match is not None)
