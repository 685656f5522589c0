"""Beside: how much else a line carried, from an interface's counters.

While a test runs its own bytes are in the counters, too. They are known to a tenth of a second, so that they can be
taken away where the counters are fresh: an agent may tell the same counters for seconds, and only a reading that
differs from the one before it is known to be of its own instant.

Source: RFC 2863 (IF-MIB): what an interface's octets hold; the rules are ours, with no published source.
"""

from collections.abc import Sequence
from itertools import pairwise
from typing import Final, NamedTuple

from wanwatch.core.account.speed import Mark
from wanwatch.core.account.speed_result import Direction
from wanwatch.core.model import NS_PER_S

LEAST_NS: Final = NS_PER_S // 2
"""Readings closer together say nothing: a wake-up that came late would look like traffic."""
FRAME_BYTES: Final = 14
"""What counters hold of a frame besides its packet: IEEE 802.3 addresses and type."""


class Reading(NamedTuple):
    """An interface's counters.

    Attributes:
        at_ns: When they were read (monotonic).
        down: Octets that came from the line.
        up: Octets that went to the line.
    """

    at_ns: int
    down: int
    up: int

    def octets(self, direction: Direction) -> int:
        """Return those of one direction."""
        return self.down if direction is Direction.DOWN else self.up


def rate_bps(readings: Sequence[Reading], direction: Direction) -> float | None:
    """Return what the line carried between the first and the last reading; None where they cannot tell."""
    if not readings or readings[-1].at_ns - readings[0].at_ns < LEAST_NS:
        return None
    octets = readings[-1].octets(direction) - readings[0].octets(direction)
    if octets < 0:  # it was set back meanwhile
        return None
    return octets * 8 * NS_PER_S / (readings[-1].at_ns - readings[0].at_ns)


def others_bps(
    readings: Sequence[Reading], marks: Sequence[Mark], direction: Direction, wire_ratio: float
) -> float | None:
    """Return what the line carried besides a test while that ran; None where it cannot be told.

    Args:
        readings: Counters, in order of time, from before the test on.
        marks: What the test had carried in payload bytes, in order of time.
        direction: The test's.
        wire_ratio: Octets that the counters hold for each byte of payload.
    """
    fresh = [now for before, now in pairwise(readings) if now.octets(direction) != before.octets(direction)]
    within = [one for one in fresh if marks and marks[0].at_ns <= one.at_ns <= marks[-1].at_ns]
    whole = rate_bps(within, direction)
    if whole is None:
        return None
    own = _carried(marks, within[-1].at_ns) - _carried(marks, within[0].at_ns)
    own_bps = own * wire_ratio * 8 * NS_PER_S / (within[-1].at_ns - within[0].at_ns)
    return max(0.0, whole - own_bps)


def is_busy(others: float | None, capacity_bps: float | None, share: float) -> bool | None:
    """Return whether other traffic is more than a share of what the line carries; None where it cannot be told."""
    return None if others is None or not capacity_bps else others > share * capacity_bps


def _carried(marks: Sequence[Mark], at_ns: int) -> float:
    """What had been carried at an instant between the first mark and the last, in proportion between two."""
    for before, after in pairwise(marks):
        if before.at_ns <= at_ns <= after.at_ns and after.at_ns > before.at_ns:
            share = (at_ns - before.at_ns) / (after.at_ns - before.at_ns)
            return before.carried + share * (after.carried - before.carried)
    return float(marks[0].carried if at_ns <= marks[0].at_ns else marks[-1].carried)
