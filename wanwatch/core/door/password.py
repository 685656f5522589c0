"""A password as it is kept: its scrypt hash, beside what it was made with.

Sources:     RFC 7914 (scrypt); the PHC string format (`$id$param=value$salt$hash`, base64 without padding).
             NIST SP 800-63B, from memory: at least eight letters, NFKC, a salt of at least 32 bits; the costs are
             those of common practice, the ones that take least memory.
Departures:  only `ln`, `r` and `p`, in this order, and costs within bounds: whoever mistypes a cost must not make this
             machine run out of memory when somebody signs in.
"""

import base64
import binascii
import hashlib
import hmac
import re
import unicodedata
from dataclasses import dataclass, field
from typing import Final, NamedTuple

from wanwatch.core.errors import WanwatchError

SHORTEST: Final = 8
LONGEST: Final = 1024
"""Letters of a password; nobody types more, and a hash of megabytes would take its time."""
_MOST_BYTES: Final = 128 << 20
_MOST_WORK_BYTES: Final = 512 << 20
"""128 r 2^ln is the memory that scrypt takes (RFC 7914 section 2); times p it is the work, here some seconds."""
_LINE: Final = re.compile(
    r"\$scrypt\$ln=([0-9]{1,2}),r=([0-9]{1,3}),p=([0-9]{1,3})\$([A-Za-z0-9+/]{6,86})\$([A-Za-z0-9+/]{22,86})"
)


class PasswordError(WanwatchError):
    """What was given is no password, or no line that keeps one. Never shows it.

    Attributes:
        reason: Why.
    """

    def __init__(self, *, reason: str) -> None:
        self.reason = reason
        super().__init__(f"password: {reason}")


class Cost(NamedTuple):
    """What a hash costs: 128 * r * 2**ln bytes of memory, p times over."""

    ln: int = 14
    r: int = 8
    p: int = 5


USUAL: Final = Cost()
"""16 MiB, some tenths of a second."""


@dataclass(frozen=True, slots=True)
class Password:
    """A password that can be compared with, and not be read."""

    cost: Cost
    salt: bytes = field(repr=False)
    key: bytes = field(repr=False)

    def is_it(self, said: str) -> bool:
        """Whether *said* is the password. Takes as long as the cost says: never to be called on the event loop."""
        if len(said) > LONGEST:
            return False
        return hmac.compare_digest(_derived(said, self.salt, self.cost, len(self.key)), self.key)

    def line(self) -> str:
        """Return the line to keep."""
        ln, r, p = self.cost
        return f"$scrypt$ln={ln},r={r},p={p}${_base64(self.salt)}${_base64(self.key)}"

    @classmethod
    def from_line(cls, text: str) -> "Password":
        """Read a kept line.

        Raises:
            PasswordError: It is none, or its cost is out of bounds.
        """
        match = _LINE.fullmatch(text)
        if match is None:
            raise PasswordError(reason="the file does not hold the line that 'wanwatch password' makes")
        cost = Cost(*(int(match[part]) for part in (1, 2, 3)))
        if not _is_bearable(cost):
            raise PasswordError(
                reason="its costs are out of bounds: 128 * r * 2**ln is at most 128 MiB, and p times that 512 MiB"
            )
        try:
            return cls(cost, _bytes(match[4]), _bytes(match[5]))
        except binascii.Error:
            raise PasswordError(reason="its salt or its hash is not base64") from None


def hashed(said: str, salt: bytes, cost: Cost = USUAL) -> Password:
    """Return what to keep of a new password.

    Args:
        said: The password.
        salt: 16 random bytes.
        cost: What it shall cost to try one.

    Raises:
        PasswordError: It is too short or too long.
    """
    if len(said) < SHORTEST:
        raise PasswordError(reason=f"shorter than {SHORTEST} letters; several words are long and easy to keep in mind")
    if len(said) > LONGEST:
        raise PasswordError(reason=f"longer than {LONGEST} letters")
    return Password(cost, salt, _derived(said, salt, cost, 32))


def _derived(said: str, salt: bytes, cost: Cost, length_bytes: int) -> bytes:
    # Keyboards write the same letter in several ways; surrogates come of bytes that are no UTF-8.
    text = unicodedata.normalize("NFKC", said).encode("utf-8", "surrogateescape")
    return scrypt(text, salt, cost, length_bytes)


def scrypt(text: bytes, salt: bytes, cost: Cost, length_bytes: int) -> bytes:
    """Return the key that is derived of *text* (RFC 7914)."""
    ln, r, p = cost
    room_bytes = 128 * r * ((1 << ln) + p + 2) + (1 << 16)  # OpenSSL counts its scratch as well
    return hashlib.scrypt(text, salt=salt, n=1 << ln, r=r, p=p, maxmem=room_bytes, dklen=length_bytes)


def _is_bearable(cost: Cost) -> bool:
    memory_bytes = 128 * cost.r << cost.ln
    possible = 0 < cost.ln < 16 * cost.r and cost.p > 0  # RFC 7914 section 2: N < 2^(128 r / 8)
    return possible and memory_bytes <= _MOST_BYTES and memory_bytes * cost.p <= _MOST_WORK_BYTES


def _base64(held: bytes) -> str:
    return base64.b64encode(held).decode("ascii").rstrip("=")


def _bytes(text: str) -> bytes:
    return base64.b64decode(text + "=" * (-len(text) % 4), validate=True)
