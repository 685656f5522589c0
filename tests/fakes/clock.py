"""A clock that stands still until it is told."""

from wanwatch.core.model import NS_PER_S

START_UNIX_NS = 1_793_700_000 * NS_PER_S
"""2026-11-03T10:00:00Z, the start of a minute."""


class FakeClock:
    """Both clocks, moved by hand.

    Args:
        unix_ns: Where the wall clock begins.
        ns: Where the monotonic clock begins.
    """

    def __init__(self, unix_ns: int = START_UNIX_NS, ns: int = NS_PER_S) -> None:
        self._unix_ns = unix_ns
        self._ns = ns

    def now_ns(self) -> int:
        """Monotonic nanoseconds."""
        return self._ns

    def now_unix_ns(self) -> int:
        """Wall-clock nanoseconds."""
        return self._unix_ns

    def advance(self, seconds: float) -> None:
        """Let time pass."""
        self._ns += int(seconds * NS_PER_S)
        self._unix_ns += int(seconds * NS_PER_S)

    def step(self, seconds: float) -> None:
        """Set the wall clock forward, or back where *seconds* is negative, in no time."""
        self._unix_ns += int(seconds * NS_PER_S)
