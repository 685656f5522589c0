"""Sharing: what servers said of ordinary traffic lately, in the order of asking; do they name several uplinks by turns?

A gateway that balances load sends some flows one way and some another. Told apart from traffic that moves by this: what
moves is named by one name before and another after, what is shared is named by both, to and fro.
"""

from bisect import insort
from itertools import pairwise
from typing import Final, NamedTuple

from wanwatch.core.judge.evidence import NEVER

_TURNS: Final = 3
"""Traffic that really moved so often within `_LOOK_ROUNDS` would have to do so every five seconds or faster."""
_LOOK_ROUNDS: Final = 4
_LASTS: Final = (3, 2)
"""It has to have gone on for so many rounds of questions (a fraction): old flows take a while to follow a move."""
_GONE_ROUNDS: Final = 12
"""An uplink that was not named for so many rounds carries no more. By chance alone, two servers would take years."""


class Heard(NamedTuple):
    """A server's word: asked for when, known when, the uplink it names, and the server."""

    sent_ns: int
    known_ns: int
    uplink: str
    witness: str


class Mix:
    """The servers' words of the last rounds."""

    def __init__(self) -> None:
        self._heard: list[Heard] = []

    def add(self, heard: Heard, round_ns: int) -> None:
        """Add a word; those that lie too far back are forgotten, but for the last of all."""
        insort(self._heard, heard)
        oldest_ns = self.latest.sent_ns - _GONE_ROUNDS * round_ns
        while self._heard[0].sent_ns < oldest_ns:
            del self._heard[0]

    @property
    def latest(self) -> Heard:
        """The word that was asked for last; there must be one."""
        return self._heard[-1]

    def named(self) -> frozenset[str]:
        """The uplinks that are named."""
        return frozenset(heard.uplink for heard in self._heard)

    def _turns(self, round_ns: int) -> list[Heard]:
        since_ns = self.latest.sent_ns - _LOOK_ROUNDS * round_ns if self._heard else NEVER
        recent = [heard for heard in self._heard if heard.sent_ns >= since_ns]
        return [after for before, after in pairwise(recent) if before.uplink != after.uplink]

    def is_spread(self, round_ns: int) -> bool:
        """Whether several uplinks are named by turns, often and for long enough."""
        turns = self._turns(round_ns)
        rounds, of = _LASTS
        return len(turns) >= _TURNS and (turns[-1].sent_ns - turns[0].sent_ns) * of >= round_ns * rounds

    def since_ns(self, round_ns: int) -> int:
        """Since when they are, as far as is looked back."""
        turns = self._turns(round_ns)
        return turns[0].sent_ns if turns else self.latest.sent_ns

    def first_of_the_last(self) -> Heard:
        """The first of the words that have named the latest uplink without a break."""
        first = self.latest
        for heard in reversed(self._heard):
            if heard.uplink != first.uplink:
                break
            first = heard
        return first

    def after(self, uplink: str, cut_ns: int) -> Heard | None:
        """The first word for another uplink since *uplink* died, of a server that had been heard by it if there is one.

        None as long as nothing was asked for since and answered.
        """
        had_been = {heard.witness for heard in self._heard if heard.uplink == uplink}
        since = [heard for heard in self._heard if heard.sent_ns >= cut_ns and heard.uplink != uplink]
        moved = [heard for heard in since if heard.witness in had_been]
        return next(iter(moved or since), None)

    def hold(self, uplink: str, witness: str) -> None:
        """Take *witness* as heard by *uplink* still: its questions go there, and the line is dead."""
        self._heard.append(Heard(self.latest.sent_ns, self.latest.known_ns, uplink, witness))
        self._heard.sort()

    def lose(self, uplink: str) -> int:
        """Forget an uplink; return when the last word for it was asked for."""
        last_ns = max((heard.sent_ns for heard in self._heard if heard.uplink == uplink), default=NEVER)
        self._heard = [heard for heard in self._heard if heard.uplink != uplink]
        return last_ns
