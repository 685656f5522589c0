"""What a change of the carrying uplink was: a table, and nothing else."""

from collections.abc import Sequence
from enum import Enum
from typing import Final

from wanwatch.core.judge.hand import Hand
from wanwatch.core.model import EventKind, State


class Way(Enum):
    """Where traffic went, by the order of preference."""

    AWAY = "away"  # to a less preferred uplink
    BACK = "back"  # to a more preferred one
    NOWHERE = "nowhere"
    FROM_NOWHERE = "from-nowhere"


_FAILOVER, _FAILBACK, _NEEDLESS = EventKind.FAILOVER, EventKind.FAILBACK, EventKind.NEEDLESS_FAILOVER
_BLACKOUT, _RESTORATION = EventKind.BLACKOUT, EventKind.RESTORATION

VERDICTS: Final = {
    # the state of the uplink that traffic left, around the switch
    #                 AWAY        BACK        NOWHERE     FROM_NOWHERE
    State.UP:         (_NEEDLESS, _FAILBACK,  _BLACKOUT,  _RESTORATION),
    State.IMPAIRED:   (_FAILOVER, _FAILBACK,  _BLACKOUT,  _RESTORATION),
    State.DOWN:       (_FAILOVER, _FAILOVER,  _BLACKOUT,  _RESTORATION),
    State.UNOBSERVED: (_FAILOVER, _FAILBACK,  _BLACKOUT,  _RESTORATION),  # needless would be a claim
}  # fmt: skip

_BY_HAND, _UNKNOWN = "by-hand", "unknown"
CAUSES: Final = {
    # the same state, and what was seen of a hand
    #                 NONE             ROUTE        SWITCHED_OFF
    State.UP:         (_UNKNOWN,       _BY_HAND,    _BY_HAND),
    State.IMPAIRED:   ("line-impaired", _BY_HAND,   _BY_HAND),
    State.DOWN:       ("line-down",    "line-down", _BY_HAND),  # whoever moves traffic off a dead line is not why
    State.UNOBSERVED: (_UNKNOWN,       _UNKNOWN,    _BY_HAND),
}  # fmt: skip


def way(order: Sequence[str], left: str | None, took: str | None) -> Way:
    """Return where traffic went from *left* to *took*; an uplink that is not in *order* is the least preferred."""
    if took is None:
        return Way.NOWHERE
    if left is None:
        return Way.FROM_NOWHERE
    ranks = [order.index(name) if name in order else len(order) for name in (left, took)]
    return Way.BACK if ranks[1] < ranks[0] else Way.AWAY


def classify(was: State, went: Way) -> EventKind:
    """Return the kind of a switch away from an uplink that *was* in this state."""
    return VERDICTS[was][tuple(Way).index(went)]


def cause(was: State, hand: Hand) -> str:
    """Return why traffic left an uplink that *was* in this state."""
    return CAUSES[was][tuple(Hand).index(hand)]
