"""Which events belong together.

Rule 1: an event joins the incident before it if it begins while that goes on, or less than `JOIN_NS` after its end.
Rule 2: while traffic is away from the line that it belongs to, the incident waits for its return: `AWAY_NS` instead.
Rule 3: what starts no incident (`BESIDE`) is told with each one that it overlaps, and neither begins nor prolongs one.
Rule 4: an incident is named after its earliest trouble; after its earliest event where there are only switches.

An id therefore names an event, and each event that counts is in exactly one incident: `find` knows an id for good, also
after an event that began earlier was told late, or one that joins two incidents. All else leaves ids as they are.

Source: the rules are ours, with no published source.
"""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from wanwatch.core.incident.cut_off import cut_off_s
from wanwatch.core.incident.pattern import Cause, Sign, cause_of, is_away, signs_of
from wanwatch.core.model import NS_PER_S, SWITCHES, UNPINNED, Bounds, Event, EventKind, Span
from wanwatch.core.ports import Record

JOIN_NS: Final = 3600 * NS_PER_S
"""A line that flaps ten times an hour at random is quiet for longer once in 22,000 times (exp(-10))."""
AWAY_NS: Final = 86_400 * NS_PER_S
"""Many gateways fail back at night, or when somebody comes to do it."""

BESIDE: Final = frozenset(
    {
        EventKind.UNOBSERVED,  # nobody knows what happened then
        EventKind.CLOCK_STEP,
        EventKind.PIN_LOST,  # the watching is at fault; it can last for weeks and would swallow all trouble meanwhile
        EventKind.DRILL,  # has a record of its own; the switches that it brings about count
        EventKind.PLANNED_WORK,
    }
)
"""The kinds that start no incident."""
_AT_ONCE: Final = SWITCHES | {EventKind.CLOCK_STEP, EventKind.DRILL, EventKind.PLANNED_WORK}
_CONSEQUENCES: Final = SWITCHES | {EventKind.STUCK_FAILOVER, EventKind.FLAPPING}
_PREFIX: Final = "incident-"


class Edge(StrEnum):
    """What an entry of a time line tells of its event."""

    BEGAN = "began"
    ENDED = "ended"
    HAPPENED = "happened"


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of a time line."""

    at: Bounds
    edge: Edge
    event: Event


@dataclass(frozen=True, slots=True)
class Incident:
    """What belongs together.

    Attributes:
        events: Its members, by start; never empty.
        beside: What happened meanwhile and counts for no incident, by start.
    """

    events: tuple[Event, ...]
    beside: tuple[Event, ...] = ()

    @property
    def lead(self) -> Event:
        """The event that it is named after."""
        return min(self.events, key=lambda event: (event.kind in _CONSEQUENCES, *_order(event)))

    @property
    def id(self) -> str:
        """Its name: `incident-` and its lead's."""
        return _PREFIX + self.lead.id

    @property
    def start(self) -> Bounds:
        """When the first of its events began."""
        return self.events[0].start

    @property
    def end(self) -> Bounds | None:
        """When the last of its events was over; None while one goes on. What joins later moves it."""
        ends = [event.end for event in self.events if event.end is not None]
        return max(ends, key=_estimate) if len(ends) == len(self.events) else None

    @property
    def uplinks(self) -> tuple[str, ...]:
        """The lines that it touched, in the order in which it did."""
        named = (name for event in self.events for name in (event.uplink, event.from_uplink, event.to_uplink))
        return tuple(dict.fromkeys(name for name in named if name and name != UNPINNED))

    @property
    def cut_off_s(self) -> float | None:
        """For how many seconds ordinary traffic got no answer at least; None where no event tells."""
        return cut_off_s(self.events)

    @property
    def signs(self) -> frozenset[Sign]:
        """What its events show."""
        return signs_of(self.events)

    @property
    def cause(self) -> Cause:
        """The usual pattern that it follows."""
        return cause_of(self.signs)

    @property
    def planned(self) -> bool:
        """Whether what began it lies in planned work."""
        return self.lead.planned

    @property
    def drill(self) -> bool:
        """Whether what began it was rehearsed on purpose."""
        return self.lead.drill

    def holds(self, kinds: Collection[EventKind]) -> bool:
        """Whether an event of one of *kinds* is in it or beside it; of any, if *kinds* is empty."""
        return not kinds or any(event.kind in kinds for event in (*self.events, *self.beside))

    @property
    def entries(self) -> tuple[Entry, ...]:
        """Its time line: each event's begin and end, or the one instant of a switch; what lay beside it, too."""
        found = [entry for event in (*self.events, *self.beside) for entry in _entries(event)]
        return tuple(sorted(found, key=lambda entry: (_estimate(entry.at), entry.event.id, entry.edge)))


def incidents(events: Iterable[Event]) -> list[Incident]:
    """Return the incidents of one site, in order of time; they do not overlap.

    Args:
        events: Its events in any order. One without an end goes on, and all that begins after it joins.
    """
    known = sorted(events, key=_order)
    groups: list[_Group] = []
    for event in (event for event in known if event.kind not in BESIDE):
        if not groups or not groups[-1].takes(event):
            groups.append(_Group())
        groups[-1].add(event)
    beside = [event for event in known if event.kind in BESIDE]
    return [_with(group.events, group.over_ns, beside) for group in groups]


class _Group:
    """An incident in the making."""

    def __init__(self) -> None:
        self.events: list[Event] = []
        self.over_ns = 0
        self._switches: list[Event] = []

    def takes(self, event: Event) -> bool:
        """Whether an event that begins no earlier than all members joins them."""
        ends = self._switches[:1] + self._switches[-1:]  # whether traffic is away shows in the first and the last
        patience_ns = AWAY_NS if is_away(ends) else JOIN_NS
        return event.start.estimate_unix_ns < self.over_ns + patience_ns

    def add(self, event: Event) -> None:
        """Take it in."""
        self.events.append(event)
        self.over_ns = max(self.over_ns, _over_ns(event))
        if event.kind in SWITCHES:
            self._switches.append(event)


def incidents_in(record: Record, site: str, span: Span) -> list[Incident]:
    """Return the incidents that reach into *span*, whole: with what belongs to them before and after it."""
    back_ns = ahead_ns = AWAY_NS
    while True:
        wide = Span(span.start_unix_ns - back_ns, span.end_unix_ns + ahead_ns)
        events = record.events(site, wide)
        found = [one for one in incidents(events) if _reaches_into(one, span)]
        first = min([span.start_unix_ns, *(one.start.estimate_unix_ns for one in found)])
        # What still belongs to them follows within a day.
        needed_ns = max((_last_ns(one) for one in found), default=span.end_unix_ns) + AWAY_NS
        fenced = _fenced(events, wide.start_unix_ns, first)
        if fenced and needed_ns <= wide.end_unix_ns:
            return found
        # Where no day is quiet for months, twice as much each time, and not a day.
        back_ns = back_ns if fenced else max(2 * back_ns, span.start_unix_ns - first + AWAY_NS)
        ahead_ns = max(ahead_ns, needed_ns - span.end_unix_ns)


def _fenced(events: Sequence[Event], known_from_ns: int, first_ns: int) -> bool:
    """Whether a day without any event lies before *first_ns*; what was before such a day means nothing after it."""
    over_ns = known_from_ns
    for event in sorted((event for event in events if event.kind not in BESIDE), key=_order):
        if event.start.estimate_unix_ns >= min(first_ns, over_ns + AWAY_NS):
            break
        over_ns = max(over_ns, _over_ns(event))
    return over_ns + AWAY_NS <= first_ns


def find(known: Iterable[Incident], incident_id: str) -> Incident | None:
    """Return the incident of an id, also if it has got another one since; None if there is none."""
    name = incident_id.removeprefix(_PREFIX)
    return next((one for one in known if any(event.id == name for event in one.events)), None)


def _with(members: Sequence[Event], over_ns: int, beside: Iterable[Event]) -> Incident:
    start = members[0].start.estimate_unix_ns
    meanwhile = (e for e in beside if e.start.estimate_unix_ns <= over_ns and _over_ns(e) >= start)
    return Incident(tuple(members), tuple(meanwhile))


def _entries(event: Event) -> list[Entry]:
    if event.kind in _AT_ONCE:
        return [Entry(event.start, Edge.HAPPENED, event)]
    end = [] if event.end is None else [Entry(event.end, Edge.ENDED, event)]
    return [Entry(event.start, Edge.BEGAN, event), *end]


def _reaches_into(one: Incident, span: Span) -> bool:
    over_ns = max(map(_over_ns, one.events))
    return one.start.estimate_unix_ns < span.end_unix_ns and over_ns >= span.start_unix_ns


def _last_ns(one: Incident) -> int:
    """The latest instant that is known of it."""
    return max(_estimate(bounds) for event in one.events for bounds in (event.start, event.end) if bounds)


def _order(event: Event) -> tuple[int, str]:
    return event.start.estimate_unix_ns, event.id


def _estimate(bounds: Bounds) -> int:
    return bounds.estimate_unix_ns


def _over_ns(event: Event) -> int:
    return _NEVER_NS if event.end is None else event.end.estimate_unix_ns


_NEVER_NS: Final = 1 << 63
