"""Pauses between tries: twice as long each time, up to a limit.

Source: exponential back-off is common practice, with no published source; the numbers are those of whoever tries.
"""

from typing import Final

_MOST: Final = 32
"""Doublings; more would only make the number longer before it is cut."""


def doubling(tries: int, first: float, longest: float) -> float:
    """Return the pause after so many failed tries (from 1 on), in the unit of *first* and *longest*."""
    return min(first * float(2 ** min(tries - 1, _MOST)), longest)
