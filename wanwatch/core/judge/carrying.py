"""The carrying machine: which uplink ordinary traffic takes, from witnesses that may disagree.

Witnesses are the kernel's own route and each STUN server asked over the unpinned path. The rules are the rows of
`TRANSITIONS`; what contradicts itself for too long becomes unknown, not a guess. Servers that see now one line's
address and now another's contradict nothing, where it goes on like that: the lines share the load.
"""

from collections.abc import Sequence
from enum import Enum
from typing import Final, NamedTuple

from wanwatch.core.judge.evidence import AHEAD, NEVER
from wanwatch.core.judge.sharing import Heard, Mix

ROUTE: Final = "route"
"""The kernel's route as a witness: its word stands until it changes, and need not be repeated."""


class Phase(Enum):
    """What the machine holds of the carrying uplink."""

    UNKNOWN = "unknown"
    KNOWN = "known"
    MOVING = "moving"  # a witness named another uplink; the others have not spoken since
    DISPUTED = "disputed"  # witnesses contradict each other
    SHARED = "shared"  # several uplinks carry at once


class Signal(Enum):
    """What the words amount to."""

    SAME = "same"  # all that count name the uplink that is held to carry
    OTHER = "other"  # all that count name one other
    SETTLED = "settled"  # and no witness is left who could still contradict
    SPLIT = "split"  # they name several
    TIRED = "tired"  # and have done so for two rounds of questions
    SPREAD = "spread"  # servers have named several by turns, again and again
    GATHERED = "gathered"  # of those that shared, one is left


_U, _K, _M, _D, _S = Phase.UNKNOWN, Phase.KNOWN, Phase.MOVING, Phase.DISPUTED, Phase.SHARED
_ORDER: Final = (
    Signal.SAME, Signal.OTHER, Signal.SETTLED, Signal.SPLIT, Signal.TIRED, Signal.SPREAD, Signal.GATHERED,
)  # fmt: skip
_ROWS: Final = {
    #    SAME OTHER SETTLED SPLIT TIRED SPREAD GATHERED
    _U: (_U,  _K,   _K,     _U,   _U,   _S,    _U),
    _K: (_K,  _M,   _K,     _D,   _K,   _S,    _K),
    _M: (_K,  _M,   _K,     _D,   _M,   _S,    _M),
    _D: (_K,  _K,   _K,     _D,   _U,   _S,    _D),
    _S: (_S,  _S,   _S,     _S,   _S,   _S,    _K),  # while it lasts, no word is a move
}  # fmt: skip
TRANSITIONS: Final = {phase: dict(zip(_ORDER, row, strict=True)) for phase, row in _ROWS.items()}


class Word(NamedTuple):
    """One witness's latest word: when it was asked for and when it came (monotonic), and the uplink or None."""

    sent_ns: int
    known_ns: int
    uplink: str | None


class Change(NamedTuple):
    """Traffic moved. `first` is the first word for the new uplink, `last_ns` the last one for the old.

    Attributes:
        from_uplink: The uplink that carried before, None if none did.
        to_uplink: The uplink that carries now, None if none does.
        watched: False if the old one is only remembered from before a restart.
        shared: Whether the two had shared the load, and traffic that took the old one came to take the new one.
    """

    from_uplink: str | None
    to_uplink: str | None
    last_ns: int
    first: Word
    watched: bool = True
    shared: bool = False


class Carrying:
    """The machine.

    Args:
        remembers: Whether it is known what carried before a restart.
        remembered: The uplink that did, None for none.
        sharing: The uplinks that shared the load then.

    Attributes:
        round_ns: The interval in which every STUN server is asked once.
        grace_ns: How long the others get to contradict the first word for another uplink, while probing is quick.
        phase: Where it stands.
        uplink: The uplink that is held to carry; None for none, or while unknown.
        first_ns: Since which word that is held.
        dead: The uplinks that are down: what still goes there is not heard, and has not come back.
        shares: The uplinks that carry at once, in no order that means anything; empty unless several do.
    """

    def __init__(self, *, remembers: bool = False, remembered: str | None = None, sharing: Sequence[str] = ()) -> None:
        self.phase = Phase.UNKNOWN
        self.uplink: str | None = None
        self.first_ns = NEVER
        self.round_ns = self.grace_ns = 0
        self.shares: frozenset[str] = frozenset()
        self.dead: frozenset[str] = frozenset()
        self._mix = Mix()
        self._shared_before = frozenset(sharing)
        self._last: str | None = remembered
        self._has_last = remembers
        self._watched = False
        self._last_ns = NEVER
        self._words: dict[str, Word] = {}
        self._since_ns = NEVER
        self._first = Word(NEVER, NEVER, None)

    @property
    def known(self) -> bool:
        """Whether `uplink` is more than a guess."""
        return self.phase is not Phase.UNKNOWN

    @property
    def unsettled(self) -> bool:
        """Whether quick questions would help."""
        return self.phase in (Phase.MOVING, Phase.DISPUTED)

    def hear(self, witness: str, word: Word) -> Change | None:
        """Take in one word; return the change of the carrying uplink, if it settles one."""
        old = self._words.get(witness)
        if old is not None and old.sent_ns > word.sent_ns:
            return None
        self._words[witness] = word
        if witness != ROUTE and word.uplink is not None:
            self._mix.add(Heard(word.sent_ns, word.known_ns, word.uplink, witness), self.round_ns)
        if self.phase is Phase.SHARED or (ROUTE not in self._words and self._mix.is_spread(self.round_ns)):
            return self._share()
        if self.phase is Phase.KNOWN:
            if word.uplink == self.uplink:
                self._last_ns = max(self._last_ns, word.sent_ns)
                return None
            self._since_ns = word.sent_ns
            self._first = word
        elif self.phase is Phase.UNKNOWN:
            self._since_ns = max(self._since_ns, word.sent_ns - 2 * self.round_ns)
            self._first = word
        return self._step(self._weigh(word.known_ns))

    def _share(self) -> Change | None:
        """Several uplinks carry, or did: what is left when one alone has been named for long is where traffic went."""
        if self.phase is not Phase.SHARED:
            self._step(Signal.SPREAD)
            self.first_ns = self._mix.since_ns(self.round_ns)
            self.uplink = self.uplink or self._mix.latest.uplink
            if not self._has_last:
                self._last, self._has_last, self._watched = self.uplink, True, True
        self.shares = self._mix.named()
        for witness, word in self._words.items():
            if word.uplink is not None and word.uplink in self.dead:
                self._mix.hold(word.uplink, witness)
        if len(self.shares) > 1:
            return None
        self.shares = frozenset()
        self._first = Word(*self._mix.first_of_the_last()[:3])
        return self._step(Signal.GATHERED)

    def real(self, changes: list[Change]) -> list[Change]:
        """Return *changes* without those that were none: sharing that looked like moves at first."""
        if not self.shares:
            return changes
        unreal = [change for change in changes if change.first.sent_ns >= self.first_ns and not change.shared]
        if unreal:
            self._last = self.uplink = unreal[0].from_uplink
        return [change for change in changes if change not in unreal]

    def lose(self, uplink: str, cut_ns: int) -> Change | None:
        """An uplink that shared the load is down since *cut_ns*; return the change once its traffic takes another one.

        That is known when no server was last heard by the dead line: what was told to go there has been told anew.
        """
        if uplink not in self.shares or any(word.uplink == uplink for word in self._words.values()):
            return None
        first = self._mix.after(uplink, cut_ns)
        if first is None:
            return None
        last_ns = min(self._mix.lose(uplink), cut_ns)
        self.shares = self._mix.named()
        change = Change(uplink, first.uplink, last_ns, Word(*first[:3]), shared=True)
        if len(self.shares) == 1:
            self.shares = frozenset()
            self.phase = TRANSITIONS[self.phase][Signal.GATHERED]
        self._last = self.uplink = first.uplink
        self._last_ns = max(first.sent_ns, self._last_ns)
        self.first_ns = first.sent_ns
        return change

    @property
    def doubt_ns(self) -> int:
        """How long after a move it may still turn out that the lines share; 0 where the kernel's route is a witness."""
        return 0 if ROUTE in self._words else 2 * self.round_ns + self.grace_ns

    def _counting(self) -> dict[str, Word]:
        """The latest words that were asked for since the matter was opened, and the route's."""
        return {w: word for w, word in self._words.items() if w == ROUTE or word.sent_ns >= self._since_ns}

    def _weigh(self, now_ns: int) -> Signal:
        counting = self._counting()
        named = {word.uplink for word in counting.values()}
        if len(named) != 1:
            return Signal.SPLIT
        if self.phase is not Phase.UNKNOWN and named == {self.uplink}:
            return Signal.SAME
        return Signal.SETTLED if self._all_spoke(counting, now_ns) else Signal.OTHER

    def _all_spoke(self, counting: dict[str, Word], now_ns: int) -> bool:
        alive = {w for w, word in self._words.items() if w == ROUTE or word.sent_ns >= now_ns - 2 * self.round_ns}
        return alive <= counting.keys()

    def due_ns(self) -> int:
        """When `advance` has something to decide; `AHEAD` if never."""
        if self.phase is Phase.MOVING:
            return self._first.known_ns + self.grace_ns
        return self._since_ns + 2 * self.round_ns if self.phase is Phase.DISPUTED else AHEAD

    def advance(self, now_ns: int) -> Change | None:
        """Decide what is due at *now_ns*."""
        if self.due_ns() > now_ns:
            return None
        return self._step(Signal.SETTLED if self.phase is Phase.MOVING else Signal.TIRED)

    def _step(self, signal: Signal) -> Change | None:
        self.phase = TRANSITIONS[self.phase][signal]
        if self.phase is Phase.UNKNOWN:
            self.uplink = None
            self.first_ns = self._since_ns
        elif signal is Signal.GATHERED:
            return self._become(self._first)
        elif self.phase is Phase.KNOWN and signal is not Signal.SAME:
            return self._become(self._earliest())
        return None

    def _earliest(self) -> Word:
        """The first word for the uplink that all words now name."""
        words = sorted(self._counting().values(), key=lambda word: word.sent_ns)
        if not words or self._first.uplink == words[0].uplink:
            return self._first
        return next((word for word in words if word.sent_ns >= self._since_ns), words[0])

    def _become(self, first: Word) -> Change | None:
        change = None
        if not self._watched and first.uplink in self._shared_before:
            self._last = first.uplink
        if self._has_last and self._last != first.uplink:
            last_ns = self._last_ns if self._watched else NEVER
            change = Change(self._last, first.uplink, last_ns, first, self._watched)
        self.uplink = self._last = first.uplink
        self._has_last = self._watched = True
        self._last_ns = max(first.sent_ns, self._last_ns)
        self.first_ns = first.sent_ns
        return change

    def dark(self, first_ns: int, now_ns: int) -> Change | None:
        """Nothing carries: the unpinned path has been silent since *first_ns*. What STUN said before is void."""
        self._words = {w: word for w, word in self._words.items() if w == ROUTE}
        self._mix = Mix()
        self.shares = frozenset()
        self.phase = Phase.KNOWN
        self._since_ns = first_ns
        return self._become(Word(first_ns, now_ns, None))

    def note_route(self, word: Word) -> None:
        """Remember the route's word, which moves nothing while the path is dark."""
        self._words[ROUTE] = word

    def lit(self, now_ns: int) -> Change | None:
        """The unpinned path answers again: the route's standing word counts once more."""
        word = self._words.get(ROUTE)
        if word is None or self.phase is not Phase.KNOWN or self.uplink is not None or word.uplink is None:
            return None
        return self._become(Word(now_ns, now_ns, word.uplink))
