"""Apart: names made of what a file says, where two tables may say the same."""

from collections.abc import Iterable
from itertools import count


def told_apart(names: Iterable[str]) -> tuple[str, ...]:
    """Return the names, those that came before with a number behind: `a`, `a (2)`; no two are alike."""
    told: dict[str, None] = {}
    for name in names:
        numbered = (name if number == 1 else f"{name} ({number})" for number in count(1))
        told[next(one for one in numbered if one not in told)] = None
    return tuple(told)
