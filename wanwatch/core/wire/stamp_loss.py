"""Which direction lost a packet: what the numbers of a STAMP session say.

Sources:     RFC 8762 section 4.3 (a stateful reflector numbers its packets by itself, one for each that it received).
Departures:  a session whose answers all carry the sender's own numbers says nothing of directions: its reflector may
             be stateless, and a stateful one that received everything would look the same.
"""

from dataclasses import dataclass, replace
from typing import Final, NamedTuple

_REORDERED: Final = 64
"""A later packet that was numbered lower than this below the highest was not overtaken: the count began anew."""


class LostEachWay(NamedTuple):
    """Packets that never reached the reflector, and answers that never came back from it."""

    forward: int
    reverse: int


@dataclass(frozen=True, slots=True)
class Numbers:
    """What the answers of one session have said so far; begin with `Numbers()`.

    Attributes:
        first: The sender's number that the reflector's 0 stands for.
        answered: How many answers counted since then.
        furthest: The highest sender's number among them, -1 before the first.
        counted: The highest reflector's number among them, -1 before the first.
        stateful: Whether a reflector's number ever differed from the sender's.
    """

    first: int = 0
    answered: int = 0
    furthest: int = -1
    counted: int = -1
    stateful: bool = False


def step(numbers: Numbers, sender: int, reflector: int) -> Numbers:
    """Take in one answer, by both its numbers; duplicates must be kept away."""
    if sender > numbers.furthest and reflector < numbers.counted - _REORDERED:
        # The reflector was started again, or has forgotten this session: what came between cannot be told apart.
        return Numbers(
            first=sender - reflector, answered=reflector + 1, furthest=sender, counted=reflector, stateful=True
        )
    return replace(
        numbers,
        answered=numbers.answered + 1,
        furthest=max(numbers.furthest, sender),
        counted=max(numbers.counted, reflector),
        stateful=numbers.stateful or sender != reflector,
    )


def lost_each_way(numbers: Numbers) -> LostEachWay | None:
    """Return how many were lost in each direction, up to the last that was answered; None where that is unknown."""
    forward = numbers.furthest - numbers.first - numbers.counted
    reverse = numbers.counted + 1 - numbers.answered
    # More received than sent: the network made copies, and the count can no longer be read.
    return LostEachWay(forward, reverse) if numbers.stateful and forward >= 0 and reverse >= 0 else None
