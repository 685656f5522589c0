"""Stays: when a switch began and ended, how long it took to be noticed, how long traffic was away from a line.

Each figure comes with its bounds, from those of the instants that it lies between.
"""

from collections.abc import Iterable
from typing import NamedTuple

from wanwatch.core.judge.carrying import Change
from wanwatch.core.judge.events import Moment
from wanwatch.core.judge.evidence import NEVER
from wanwatch.core.judge.line import Phase
from wanwatch.core.judge.run import Gap
from wanwatch.core.judge.uplink import Uplink
from wanwatch.core.model import NS_PER_S, Json


def lasted(name: str, start: Moment, end: Moment) -> dict[str, Json]:
    """Return the seconds from *start* to *end* as `NAME_s`, with the least and most as `NAME_bounds_s`."""
    low_ns, high_ns = end.earliest_ns - start.latest_ns, end.latest_ns - start.earliest_ns
    length_s = max(0, end.estimate_ns - start.estimate_ns) / NS_PER_S
    return {
        f"{name}_s": length_s,
        f"{name}_bounds_s": [min(max(0, low_ns) / NS_PER_S, length_s), max(high_ns / NS_PER_S, length_s)],
    }


def failure(line: Uplink) -> Moment | None:
    """Return when *line* last fell silent, if anybody saw that: its first unanswered send, with the bounds of it."""
    cut = line.line.cut
    return None if NEVER in cut else Moment(cut.first_ns, cut.life_ns, cut.by_ns)


class _Absence(NamedTuple):
    """Traffic left a line: when it was last there, and when it had arrived elsewhere."""

    last_ns: int
    arrival: Moment


class Stays:
    """Since when traffic is away from each line that it was once seen to leave."""

    def __init__(self) -> None:
        self._away: dict[str, _Absence] = {}
        self._carrier: str | None = None

    def moved(self, change: Change, arrival: Moment) -> _Absence | None:
        """Note that traffic came to a line at *arrival*; return since when it had been away from there, if known."""
        left = change.from_uplink or self._carrier
        if change.to_uplink is None or not change.watched:
            self._carrier = left
            return None
        if left is not None:
            self._away.setdefault(left, _Absence(change.last_ns, arrival))
        self._carrier = change.to_uplink
        return self._away.pop(change.to_uplink, None)


def coming_back(absence: _Absence, line: Uplink, arrival: Moment) -> dict[str, Json]:
    """Return how long traffic was away, and how long *line* had been up again by *arrival*, if it was ever down."""
    times = lasted("away", absence.arrival, arrival)
    back = line.back
    if line.line.phase is Phase.PROVING and line.line.recovery is not None:
        recovery = line.line.recovery
        back = Moment(recovery.first_ns, recovery.silent_ns, recovery.known_ns)
    if back is not None and absence.last_ns <= back.estimate_ns <= arrival.latest_ns:
        times |= lasted("hold", back, arrival)
    return times


def bounds(change: Change, gap: Gap | None, alive_unix_ns: int | None) -> tuple[Moment, Moment | None]:
    """Return when a switch began and ended, from the silence around it, or else from the words for each uplink.

    One that nobody watched began after an earlier run was last alive, at *alive_unix_ns*.
    """
    first = change.first
    if gap is None:
        floor = None if change.watched else alive_unix_ns
        earliest_ns = first.sent_ns if change.last_ns == NEVER else min(change.last_ns, first.sent_ns)
        start = Moment(first.sent_ns, earliest_ns, first.known_ns, floor_unix_ns=floor)
        return start, None if change.to_uplink is None else start
    end = None if gap.end_ns is None else Moment(gap.end_ns, gap.last_ns, gap.end_known_ns)
    if change.from_uplink is None and end is not None:
        return end, end
    earliest_ns = gap.first_ns if gap.before_ns == NEVER else gap.before_ns
    return Moment(gap.first_ns, earliest_ns, gap.first_ns + gap.rtt_ns), end


def half_cut_off(change: Change, failed: Moment | None, unheard_ns: Iterable[int]) -> Gap | None:
    """Return how long that part of traffic was cut off which took a dead line, while another part took another line.

    It begins where the line fell silent and ends with the first answer to a server whose way had led over it.

    Args:
        change: Traffic leaves a line that shared the load.
        failed: When that line fell silent.
        unheard_ns: The last unanswered questions to servers (sends).
    """
    if failed is None or failed.estimate_ns >= change.first.sent_ns:
        return None
    silent = [ns for ns in unheard_ns if failed.estimate_ns <= ns < change.first.sent_ns]
    return Gap(
        failed.estimate_ns, failed.earliest_ns, failed.latest_ns - failed.estimate_ns,
        last_ns=max(silent, default=failed.estimate_ns), end_ns=change.first.sent_ns,
        end_known_ns=change.first.known_ns,
    )  # fmt: skip
