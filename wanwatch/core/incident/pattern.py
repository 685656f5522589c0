"""What an incident was: signs that are read from its events, and a table of the usual causes.

Source: the rules are ours, with no published source.
"""

import math
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from enum import StrEnum
from typing import Final

from wanwatch.core.model import SWITCHES, Event, EventKind

LEAVING: Final = frozenset({EventKind.FAILOVER, EventKind.NEEDLESS_FAILOVER, EventKind.BLACKOUT})
"""The switches by which traffic leaves the line that it belongs to."""
OFTEN: Final = 3
"""So many outages of one line within one incident are flapping; twice can be chance."""


class Sign(StrEnum):
    """Something that the events of an incident show."""

    LINE_DOWN = "line-down"
    LINES_DOWN_TOGETHER = "lines-down-together"
    AGAIN_AND_AGAIN = "again-and-again"
    LINE_IMPAIRED = "line-impaired"
    SECOND_IMPAIRED = "second-impaired"
    NAMES_FAILED = "names-failed"
    MOVED_AWAY = "moved-away"
    NEEDLESS = "needless"
    STUCK = "stuck"
    NOTHING_CARRIED = "nothing-carried"
    CAME_BACK = "came-back"


class Cause(StrEnum):
    """What an incident is called by."""

    LINES_DOWN = "lines-down"
    STUCK_FAILOVER = "stuck-failover"
    FLAPPING_LINE = "flapping-line"
    LINE_DOWN = "line-down"
    NEEDLESS_FAILOVER = "needless-failover"
    LINE_IMPAIRED = "line-impaired"
    NAMES_ONLY = "names-only"
    BLACKOUT = "blackout"
    SWITCH_ONLY = "switch-only"


CAUSES: Final[tuple[tuple[Cause, Sign | None], ...]] = (
    # The first row whose sign is there names the incident: what needs a person most, and explains the rest, is first.
    (Cause.LINES_DOWN, Sign.LINES_DOWN_TOGETHER),
    (Cause.STUCK_FAILOVER, Sign.STUCK),
    (Cause.FLAPPING_LINE, Sign.AGAIN_AND_AGAIN),
    (Cause.LINE_DOWN, Sign.LINE_DOWN),
    (Cause.NEEDLESS_FAILOVER, Sign.NEEDLESS),
    (Cause.LINE_IMPAIRED, Sign.LINE_IMPAIRED),
    (Cause.NAMES_ONLY, Sign.NAMES_FAILED),
    (Cause.BLACKOUT, Sign.NOTHING_CARRIED),
    (Cause.SWITCH_ONLY, None),
)


def signs_of(events: Sequence[Event]) -> frozenset[Sign]:
    """Return what *events*, in order of time, show."""
    return frozenset(sign for sign, shows in _SIGNS.items() if shows(events))


def cause_of(signs: frozenset[Sign]) -> Cause:
    """Return the usual cause of an incident with these signs."""
    return next(cause for cause, sign in CAUSES if sign is None or sign in signs)


def is_away(events: Iterable[Event]) -> bool:
    """Return whether ordinary traffic is, after *events* in order of time, not on the line that it belongs to."""
    switches = [event for event in events if event.kind in SWITCHES]
    if not switches:
        return False
    first = switches[0]
    home = first.from_uplink if first.kind in LEAVING else first.to_uplink
    return switches[-1].to_uplink != home


def _holds(kind: EventKind) -> Callable[[Sequence[Event]], bool]:
    return lambda events: any(event.kind is kind for event in events)


def _together(events: Sequence[Event]) -> bool:
    """Whether an outage began while one of another line went on."""
    over: dict[str | None, float] = {}
    for event in (event for event in events if event.kind is EventKind.OUTAGE):
        if any(event.start.estimate_unix_ns < end for line, end in over.items() if line != event.uplink):
            return True
        end = math.inf if event.end is None else event.end.estimate_unix_ns
        over[event.uplink] = max(end, over.get(event.uplink, 0))
    return False


def _again(events: Sequence[Event]) -> bool:
    outages = Counter(event.uplink for event in events if event.kind is EventKind.OUTAGE)
    return _holds(EventKind.FLAPPING)(events) or any(number >= OFTEN for number in outages.values())


def _second_impaired(events: Sequence[Event]) -> bool:
    """A line worked badly that was not the one that traffic had to leave."""
    left = {event.from_uplink for event in events if event.kind in LEAVING}
    return any(event.kind is EventKind.IMPAIRMENT and left and event.uplink not in left for event in events)


def _came_back(events: Sequence[Event]) -> bool:
    return any(event.kind in SWITCHES for event in events) and not is_away(events)


_SIGNS: Final[Mapping[Sign, Callable[[Sequence[Event]], bool]]] = {
    Sign.LINE_DOWN: _holds(EventKind.OUTAGE),
    Sign.LINES_DOWN_TOGETHER: _together,
    Sign.AGAIN_AND_AGAIN: _again,
    Sign.LINE_IMPAIRED: _holds(EventKind.IMPAIRMENT),
    Sign.SECOND_IMPAIRED: _second_impaired,
    Sign.NAMES_FAILED: _holds(EventKind.NAMES_FAILURE),
    Sign.MOVED_AWAY: lambda events: any(event.kind in LEAVING and event.to_uplink for event in events),
    Sign.NEEDLESS: _holds(EventKind.NEEDLESS_FAILOVER),
    Sign.STUCK: _holds(EventKind.STUCK_FAILOVER),
    Sign.NOTHING_CARRIED: _holds(EventKind.BLACKOUT),
    Sign.CAME_BACK: _came_back,
}
