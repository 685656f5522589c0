"""Spells: trouble that comes and goes around the limit is one impairment, not many.

A spell begins with the first bad window. It is over once, for `JudgeSettings.clear_after_ns`, no window was bad and
less than half the limit was lost; its end is then told as of where the trouble stopped, not of when that was sure.

Sources: common practice, no published source; `tests/core/judge/test_spells.py` measures what the rule does.
"""

from collections import deque
from typing import NamedTuple

from wanwatch.core.judge.events import Moment
from wanwatch.core.judge.evidence import NEVER
from wanwatch.core.judge.window import MIN_SENT, STEPS, Look
from wanwatch.core.model import JudgeSettings


class Turn(NamedTuple):
    """A spell has begun, or has ended."""

    on: bool
    when: Moment


class Spell:
    """Whether a line is in a spell of trouble.

    Attributes:
        on: It is.
    """

    def __init__(self, *, on: bool, alive_unix_ns: int | None) -> None:
        self.on = on
        self._alive_unix_ns = alive_unix_ns
        self._calm_ns = NEVER
        self._over: Moment | None = None
        self._looks: deque[Look] = deque()
        self._settings = JudgeSettings()

    def reconfigure(self, settings: JudgeSettings) -> None:
        """Take other numbers; what was seen under others says nothing by these."""
        if settings != self._settings:
            self._looks.clear()
        self._settings = settings

    def restart(self, since_ns: int) -> None:
        """The line is up since then; a spell that is on is one that an earlier run saw begin."""
        self._calm_ns = since_ns
        self._looks.clear()

    def stop(self) -> None:
        """The line is not up: what is on is over, and its end is not ours to find."""
        self.on = False
        self._over = None

    def see(self, look: Look) -> Turn | None:
        """Take in the look that follows the last one."""
        self._looks.append(look)
        while len(self._looks) > STEPS * self._windows:
            self._looks.popleft()
        turn = None
        if look.bad:
            turn = None if self.on else self._begin(look)
            # Trouble reached into this window; how far, its last bad sends say best.
            over_ns = look.end_ns if look.over_ns is None else look.over_ns
            self._over = Moment(over_ns, look.start_ns, look.end_ns)
        elif self.on:
            turn = self._ease(look)
        if look.clean:
            self._calm_ns = look.start_ns
        return turn

    def _begin(self, look: Look) -> Turn:
        self.on = True
        began_ns = look.start_ns if look.began_ns is None else look.began_ns
        latest_ns = look.end_ns if look.last_bad_ns is None else look.last_bad_ns
        # Windows that were neither bad nor clean may hold its beginning, and the last clean one the first of it.
        return Turn(on=True, when=Moment(began_ns, min(look.start_ns, self._calm_ns), latest_ns))

    def _ease(self, look: Look) -> Turn | None:
        if self._over is None:
            # An earlier run saw it last: it may have been over at any time since.
            self._over = Moment(look.start_ns, look.start_ns, look.end_ns, floor_unix_ns=self._alive_unix_ns)
        if not look.clean or not self._calm():
            return None
        first = next(seen for seen in self._looks if seen.clean and seen.start_ns >= self._over.earliest_ns)
        when = self._over._replace(latest_ns=max(first.end_ns, self._over.estimate_ns))
        self.stop()
        return Turn(on=False, when=when)

    @property
    def _windows(self) -> int:
        """How many windows, one after the other, have to be calm."""
        return max(1, -(-self._settings.clear_after_ns // self._settings.window_ns))

    def _calm(self) -> bool:
        """Whether what was seen since the last bad window is enough."""
        since = [*self._looks][-STEPS * (self._windows - 1) - 1 :]
        apart = since[::-STEPS]
        sent, lost = sum(look.sent for look in apart), sum(look.lost for look in apart)
        enough = len(apart) == self._windows and sent >= MIN_SENT and not any(look.bad for look in since)
        return enough and lost < sent * self._settings.impaired_loss_ratio / 2
