"""Tries: how long somebody who guesses has to wait, in memory that a stranger cannot fill.

Each address has some tries free, then each further one doubles the wait. Addresses that nobody has signed in from share
one measured supply besides, so that guessing from many addresses is slow as well; one from which somebody did is not
held up by it, whatever strangers do.

Sources:     OWASP's and NIST SP 800-63B's advice on throttling, from memory; the numbers are common practice, no
             published source.
"""

from collections import OrderedDict
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from wanwatch.core.model import NS_PER_S

_FORGET_NS: Final = 3600 * NS_PER_S


class Key(StrEnum):
    """What is tried."""

    PASSWORD = "password"  # noqa: S105 - the word, and not one
    TOKEN = "token"  # noqa: S105 - likewise


class Why(StrEnum):
    """Why it was refused."""

    WRONG = "wrong"
    TOO_OFTEN = "too-often"
    """There had been too many wrong tries, or there were too many at once: it was not looked at."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """How much guessing is borne.

    Attributes:
        free: Wrong tries of an address that cost no waiting.
        first_ns: The wait after one more; each next one is twice as long.
        longest_ns: No wait is longer: behind one address there may be a whole office.
        burst: Tries of all strangers together that cost no waiting.
        gap_ns: After those, one in so long.
        addresses: How many are remembered; the one that was silent the longest is forgotten first.
    """

    free: int = 5
    first_ns: int = NS_PER_S
    longest_ns: int = 300 * NS_PER_S
    burst: int = 100
    gap_ns: int = 2 * NS_PER_S
    addresses: int = 4096


@dataclass(slots=True)
class _Wrong:
    count: int
    last_ns: int
    what: bytes


class Tries:
    """Counts wrong tries.

    Args:
        limits: What is borne.
    """

    def __init__(self, limits: Limits = Limits()) -> None:
        self._limits = limits
        self._wrong: OrderedDict[bytes, _Wrong] = OrderedDict()
        self._known: OrderedDict[bytes, None] = OrderedDict()
        self._level_ns = 0  # when the strangers' supply is full again

    def __len__(self) -> int:
        return len(self._wrong) + len(self._known)

    def begin(self, whose: bytes, now_ns: int, what: bytes = b"") -> int:
        """Ask whether a try may be looked at. It counts as wrong until `right` says otherwise: many may come at once.

        Args:
            whose: Whose share of tries it takes.
            now_ns: Monotonic.
            what: A digest of what is shown, for `is_again`.

        Returns:
            0, or for how long the answer is no whatever was shown.
        """
        wrong = self._wrong.get(whose)
        if wrong is not None and now_ns - wrong.last_ns >= _FORGET_NS:
            wrong = None
        wait_ns = max(self._own_wait_ns(wrong, now_ns), self._shared_wait_ns(whose, now_ns))
        if wait_ns == 0:
            self._count(whose, now_ns, what, wrong)
        return wait_ns

    def is_again(self, whose: bytes, what: bytes) -> bool:
        """Whether *what* is what this address showed last and was wrong: no other guess. A program does not learn."""
        wrong = self._wrong.get(whose)
        return wrong is not None and wrong.what == what

    def right(self, whose: bytes) -> None:
        """The try that was begun was right."""
        self._wrong.pop(whose, None)
        if whose not in self._known:
            self._level_ns -= self._limits.gap_ns
        self._known[whose] = None
        self._known.move_to_end(whose)
        if len(self._known) > self._limits.addresses:
            self._known.popitem(last=False)

    def forget(self) -> None:
        """Whoever signed in did so with a password that is no longer in force."""
        self._known.clear()

    def _own_wait_ns(self, wrong: _Wrong | None, now_ns: int) -> int:
        if wrong is None or wrong.count < self._limits.free:
            return 0
        doublings = min(wrong.count - self._limits.free, 32)
        wait_ns = min(self._limits.first_ns << doublings, self._limits.longest_ns)
        return max(0, wrong.last_ns + wait_ns - now_ns)

    def _shared_wait_ns(self, whose: bytes, now_ns: int) -> int:
        if whose in self._known:
            return 0
        due_ns = max(self._level_ns, now_ns) + self._limits.gap_ns
        return max(0, due_ns - now_ns - self._limits.burst * self._limits.gap_ns)

    def _count(self, whose: bytes, now_ns: int, what: bytes, wrong: _Wrong | None) -> None:
        self._wrong[whose] = _Wrong((wrong.count if wrong else 0) + 1, now_ns, what)
        self._wrong.move_to_end(whose)
        if len(self._wrong) > self._limits.addresses:
            self._wrong.popitem(last=False)
        if whose not in self._known:
            self._level_ns = max(self._level_ns, now_ns) + self._limits.gap_ns
