"""Alive spans: the stretches of wall-clock time in which this run can answer for what it saw."""

from typing import Final

STEP_NS: Final = 500_000_000
"""Between two marks a disciplined clock is slewed by 0.05 % at most (a few ms); half a second apart is a step."""


class AliveSpans:
    """This run's alive spans, begun when it is made and marked by the event loop itself.

    A mark says "until here". It is made by the loop that takes the samples, so a loop that hung, a process that was
    frozen or a machine that slept ends the span at the mark before, instead of claiming the time in between.

    Args:
        now_ns: Monotonic now.
        now_unix_ns: The wall clock now.
        stall_ns: Marks further apart than this do not join.
    """

    def __init__(self, now_ns: int, now_unix_ns: int, *, stall_ns: int) -> None:
        self._stall_ns = stall_ns
        self._spans: dict[int, int] = {}
        self._begin(now_ns, now_unix_ns)

    def mark(self, now_ns: int, now_unix_ns: int) -> None:
        """Draw the span out to now, or begin another one where the time since the last mark does not count."""
        passed_ns = now_ns - self._marked_ns
        if passed_ns > self._stall_ns:
            self._begin(now_ns, now_unix_ns)
        elif abs(now_unix_ns - self._last_unix_ns - passed_ns) > STEP_NS:
            self.step(now_ns, now_unix_ns)
        else:
            self._set_last(now_ns, now_unix_ns)

    def step(self, now_ns: int, now_unix_ns: int) -> None:
        """End the span where the clock would stand had it not been stepped; begin another one where it stands now."""
        passed_ns = now_ns - self._marked_ns
        if passed_ns <= self._stall_ns:
            self._set_last(now_ns, self._last_unix_ns + passed_ns)
        self._begin(now_ns, now_unix_ns)

    def take(self) -> dict[int, int]:
        """Return the spans not taken as ended yet, start to last mark; the running one is returned every time."""
        taken, self._spans = self._spans, {self._started_unix_ns: self._last_unix_ns}
        return taken

    def _begin(self, now_ns: int, now_unix_ns: int) -> None:
        self._started_unix_ns = now_unix_ns
        self._set_last(now_ns, now_unix_ns)

    def _set_last(self, now_ns: int, last_unix_ns: int) -> None:
        self._marked_ns = now_ns
        self._last_unix_ns = last_unix_ns
        self._spans[self._started_unix_ns] = last_unix_ns
