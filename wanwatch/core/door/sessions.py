"""Sessions: who has signed in. They live in memory, so a restart ends them; a session's id is kept as its digest.

Source:   common practice, no published source for the numbers: a working day of silence, and a week in all.
"""

from collections import OrderedDict
from dataclasses import dataclass
from typing import Final

from wanwatch.core.door.tokens import digest
from wanwatch.core.model import NS_PER_S

IDLE_NS: Final = 12 * 3600 * NS_PER_S
ABSOLUTE_NS: Final = 7 * 86_400 * NS_PER_S
MOST: Final = 1000


@dataclass(slots=True)
class _Session:
    opened_ns: int
    used_ns: int

    def is_over(self, now_ns: int) -> bool:
        return now_ns - self.used_ns >= IDLE_NS or now_ns - self.opened_ns >= ABSOLUTE_NS


class Sessions:
    """All sessions; of more than a thousand the one that was used least lately goes."""

    def __init__(self) -> None:
        self._open: OrderedDict[bytes, _Session] = OrderedDict()

    def __len__(self) -> int:
        return len(self._open)

    def open(self, name: str, now_ns: int) -> None:
        """Begin a session.

        Args:
            name: Its id: 256 random bits, made for it and for nothing else.
            now_ns: Monotonic.
        """
        for key in [key for key, session in self._open.items() if session.is_over(now_ns)]:
            del self._open[key]
        self._open[digest(name)] = _Session(now_ns, now_ns)
        while len(self._open) > MOST:
            self._open.popitem(last=False)

    def holds(self, name: str, now_ns: int) -> bool:
        """Whether *name* is a session's id; it is used by that."""
        key = digest(name)
        session = self._open.get(key)
        if session is None:
            return False
        if session.is_over(now_ns):
            del self._open[key]
            return False
        session.used_ns = now_ns
        self._open.move_to_end(key)
        return True

    def close(self, name: str) -> None:
        """End a session, if it is one."""
        self._open.pop(digest(name), None)

    def close_all(self) -> None:
        """End all: the password is another one."""
        self._open.clear()
