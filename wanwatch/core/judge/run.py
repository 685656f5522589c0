"""Runs of silence: unanswered sends in the order of sending, though they become known in any order.

A loss is known only after its waiting time, an answer at once. `Run` is what is silent right now, and is as quick as
the evidence; `Ledger` is the past, put in order, and waits until every send in it has had its waiting time.
"""

from bisect import bisect_right, insort
from collections import deque
from dataclasses import dataclass, field
from typing import Final

from wanwatch.core.judge.evidence import AHEAD, NEVER
from wanwatch.core.model import NS_PER_S

# A silence may last for days at five probes a second. Only its first send and those that an answer still under way
# may overtake matter, so the middle of a long run is let go.
_RUN_LIMIT: Final = 4096

SLACK_NS: Final = NS_PER_S // 2
"""How long after its waiting time a loss may still be told to us: a busy machine's scheduling."""


class Run:
    """The unanswered sends that come after the last answered one.

    Attributes:
        life_ns: The last answered send, `NEVER` before the first.
        rtt_ns: Its round-trip time.
    """

    __slots__ = ("_last", "_sends", "life_ns", "rtt_ns")

    def __init__(self) -> None:
        self.life_ns = NEVER
        self.rtt_ns = 0
        self._sends: list[tuple[int, int]] = []
        self._last: dict[str, int] = {}

    def life(self, sent_ns: int, rtt_ns: int) -> None:
        """An answer: it wipes the silence of every earlier send."""
        if sent_ns <= self.life_ns:
            return
        self.life_ns = sent_ns
        self.rtt_ns = rtt_ns
        if self._sends:
            del self._sends[: bisect_right(self._sends, (sent_ns, AHEAD))]
            self._last = {target: last for target, last in self._last.items() if last > sent_ns}

    def silence(self, sent_ns: int, target: str, alive_ns: int) -> None:
        """A send that got no answer; one that is older than the last answered send means nothing any more.

        It may have been under way for *alive_ns* before it died.
        """
        if sent_ns <= self.life_ns:
            return
        insort(self._sends, (sent_ns, sent_ns + alive_ns))
        self._last[target] = max(sent_ns, self._last.get(target, NEVER))
        if len(self._sends) > _RUN_LIMIT:
            del self._sends[1 : _RUN_LIMIT // 2]

    def clear(self) -> None:
        """Forget the silence; the last answer stays known."""
        self._sends.clear()
        self._last.clear()

    def __bool__(self) -> bool:
        return bool(self._sends)

    @property
    def first_ns(self) -> int:
        """The first unanswered send. Only for a run that is not empty."""
        return self._sends[0][0]

    @property
    def began_by_ns(self) -> int:
        """When the silence had begun at the latest: each of its sends had died by then. Only if it is not empty."""
        return min(dead_ns for _, dead_ns in self._sends)

    def last_before(self, sent_ns: int) -> int:
        """The last unanswered send before *sent_ns*, or `NEVER`."""
        at = bisect_right(self._sends, (sent_ns - 1, AHEAD))
        return self._sends[at - 1][0] if at else NEVER

    @property
    def targets(self) -> dict[str, int]:
        """Each silent target with its last unanswered send."""
        return self._last


@dataclass(slots=True)
class Gap:
    """A stretch in which nothing answered: from its first unanswered send to the first answered one after it.

    Attributes:
        first_ns: The first unanswered send.
        before_ns: The answered send before it, `NEVER` if there was none.
        rtt_ns: That one's round-trip time.
        last_ns: The last unanswered send.
        targets: The targets that were silent in it.
        end_ns: The first answered send after it, or None while it lasts.
        end_known_ns: When that answer arrived.
    """

    first_ns: int
    before_ns: int
    rtt_ns: int
    last_ns: int
    targets: set[str] = field(default_factory=set)
    end_ns: int | None = None
    end_known_ns: int = 0

    def length_ns(self, now_ns: int) -> int:
        """How long it lasted, or has lasted at *now_ns*."""
        return (now_ns if self.end_ns is None else self.end_ns) - self.first_ns


class Ledger:
    """The silences of one path, exact: sends are put in order once all their outcomes must be known.

    Args:
        majority: A gap counts only if at least so many targets were silent in it: one dead target makes none.
        lag_ns: How long after its sending a probe's outcome is surely known.
    """

    def __init__(self, majority: int, lag_ns: int) -> None:
        self.majority = majority
        self.lag_ns = lag_ns
        self._waiting: list[tuple[int, int, int, str]] = []
        self._life: tuple[int, int] = (NEVER, 0)
        self._open: Gap | None = None
        self._gaps: deque[Gap] = deque(maxlen=256)

    def add(self, sent_ns: int, known_ns: int, rtt_ns: int, target: str) -> None:
        """Add a probe of *target*; *rtt_ns* is -1 if it got no answer."""
        insort(self._waiting, (sent_ns, known_ns, rtt_ns, target))

    def settle(self, now_ns: int) -> None:
        """Put in order what must be known by now."""
        upto = bisect_right(self._waiting, (now_ns - self.lag_ns,))
        for entry in self._waiting[:upto]:
            self._take(*entry)
        del self._waiting[:upto]

    def _take(self, sent_ns: int, known_ns: int, rtt_ns: int, target: str) -> None:
        gap = self._open
        if rtt_ns >= 0:
            if gap is not None:
                gap.end_ns, gap.end_known_ns = sent_ns, known_ns
                self._open = None
                if len(gap.targets) >= self.majority:
                    self._gaps.append(gap)
            self._life = (sent_ns, rtt_ns)
            return
        if gap is None:
            gap = self._open = Gap(sent_ns, *self._life, last_ns=sent_ns)
        gap.last_ns = sent_ns
        gap.targets.add(target)

    def _over(self, lo_ns: int, hi_ns: int) -> list[Gap]:
        gaps = [gap for gap in self._gaps if gap.first_ns <= hi_ns and gap.end_ns is not None and gap.end_ns >= lo_ns]
        if self._open is not None and len(self._open.targets) >= self.majority and self._open.first_ns <= hi_ns:
            gaps.append(self._open)
        return gaps

    def longest(self, lo_ns: int, hi_ns: int) -> Gap | None:
        """The longest gap that touches the time from *lo_ns* to *hi_ns*, or None."""
        return max(self._over(lo_ns, hi_ns), key=lambda gap: gap.length_ns(hi_ns), default=None)

    def total_ns(self, lo_ns: int, hi_ns: int) -> int:
        """How long nothing answered up to *hi_ns*, in every gap that touches the time from *lo_ns* to then.

        A gap counts no further than *hi_ns*, so that the figure is the same whether its end is known yet or not.
        """
        return sum(min(gap.length_ns(hi_ns), hi_ns - gap.first_ns) for gap in self._over(lo_ns, hi_ns))
