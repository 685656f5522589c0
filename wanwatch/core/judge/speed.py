"""Speed: a line that answers promptly, and carries less than it should.

A test counts as bad below a share of the contract's speed, or of the line's own usual where no contract names one. The
rules are the rows of `TRANSITIONS`: two bad tests in a row begin an impairment and two good ones end it. Tests lie
hours apart, so a word grows old: after `STANDS_NS` without a test it no longer stands, and what it said ends.

Sources: NIST/SEMATECH e-Handbook 7.2.6.2 (median). The rest is common practice, no published source.
"""

from collections import deque
from enum import Enum
from typing import Final

from wanwatch.core.account.percentile import quantile
from wanwatch.core.judge.events import Moment
from wanwatch.core.judge.evidence import AHEAD, NEVER
from wanwatch.core.model import NS_PER_S, SpeedSeen

STANDS_NS: Final = 86_400 * NS_PER_S
"""A line may be another one a day later."""

MIN_TESTS: Final = 5
MAX_TESTS: Final = 84
"""A week's worth of a test every two hours."""


class Phase(Enum):
    """What is held of one direction."""

    FAST = "fast"
    DOUBTED = "doubted"  # one bad test
    SLOW = "slow"
    MENDING = "mending"  # slow, and one good test


class Signal(Enum):
    """What a test amounts to, or that there was none."""

    GOOD = "good"
    BAD = "bad"
    AGED = "aged"


_F, _D, _S, _M = Phase.FAST, Phase.DOUBTED, Phase.SLOW, Phase.MENDING
_ROWS: Final = {
    #    GOOD BAD AGED
    _F: (_F,  _D, _F),
    _D: (_F,  _S, _F),  # one bad test proves nothing
    _S: (_M,  _S, _F),
    _M: (_F,  _S, _F),  # nor does one good test
}  # fmt: skip
TRANSITIONS: Final = {phase: dict(zip(Signal, row, strict=True)) for phase, row in _ROWS.items()}
TROUBLED: Final = frozenset({_S, _M})
"""The phases in which the line is impaired."""


class Direction:
    """One direction of one line.

    Attributes:
        phase: Where it stands.
        tests: Speeds of the last tests that were not bad, in bits per second.
        worst: The slowest of the bad tests since it was fast, with the speed below which it was bad.
    """

    def __init__(self) -> None:
        self.phase = Phase.FAST
        self.tests: deque[int] = deque(maxlen=MAX_TESTS)
        self.forget(NEVER)

    def forget(self, since_ns: int) -> None:
        """Whatever was tested before *since_ns* says nothing about the line from then on."""
        self._good_ns = since_ns
        self._first_bad: SpeedSeen | None = None
        self._last_bad: SpeedSeen | None = None
        self._first_good: SpeedSeen | None = None
        self._last_ns = since_ns
        self.worst: tuple[int, int] | None = None

    def floor_bps(self, promised_bps: float | None, share: float) -> float | None:
        """Below which speed a test is bad; None while nothing says what the speed should be."""
        if promised_bps is not None:
            return promised_bps * share
        return quantile(sorted(self.tests), 0.5) * share if len(self.tests) >= MIN_TESTS else None

    def hear(self, seen: SpeedSeen, floor_bps: float | None) -> None:
        """Take in a test; without a floor it is good."""
        bad = floor_bps is not None and seen.bps < floor_bps
        before, self.phase = self.phase, TRANSITIONS[self.phase][Signal.BAD if bad else Signal.GOOD]
        self._last_ns = seen.at_ns
        if floor_bps is not None and bad:
            if before is Phase.FAST:
                self._first_bad, self.worst = seen, None
            self._last_bad = seen
            told = (round(seen.bps), round(floor_bps))
            self.worst = min(self.worst or told, told)
            return
        self.tests.append(round(seen.bps))
        self._first_good = seen if before is Phase.SLOW else self._first_good
        if self.phase is Phase.FAST:
            self._good_ns = _begin_ns(seen)

    def due_ns(self) -> int:
        """When its last word no longer stands; `AHEAD` if that makes no difference."""
        return AHEAD if self.phase is Phase.FAST or self._last_ns == NEVER else self._last_ns + STANDS_NS

    def age(self) -> None:
        """Its last word no longer stands."""
        self.phase = TRANSITIONS[self.phase][Signal.AGED]

    def began(self) -> Moment:
        """Between the last good test and the first bad one. Only once it is slow."""
        assert self._first_bad is not None  # noqa: S101  # two bad tests have made it slow
        first_ns = _begin_ns(self._first_bad)
        return Moment(first_ns, first_ns if self._good_ns == NEVER else self._good_ns, self._first_bad.at_ns)

    def ended(self, now_ns: int, alive_unix_ns: int | None) -> Moment:
        """Between the last bad test and the first good one; an earlier run may have made the bad one."""
        bad, good = self._last_bad, self._first_good
        floor = alive_unix_ns if bad is None else None
        earliest_ns = self._last_ns if bad is None else _begin_ns(bad)
        if good is not None and (bad is None or good.at_ns > bad.at_ns):
            return Moment(_begin_ns(good), min(earliest_ns, _begin_ns(good)), good.at_ns, floor_unix_ns=floor)
        return Moment(self._last_ns, earliest_ns, now_ns, floor_unix_ns=floor)


def _begin_ns(seen: SpeedSeen) -> int:
    return seen.at_ns - seen.length_ns
