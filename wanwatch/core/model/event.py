"""Event: what happened, from a start to an end."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final

from wanwatch.core.model.units import Json


class State(StrEnum):
    """The four states of an uplink."""

    UP = "up"
    IMPAIRED = "impaired"
    DOWN = "down"
    UNOBSERVED = "unobserved"


class Domain(StrEnum):
    """Where it broke."""

    OUR_SIDE = "our-side"
    GATEWAY = "gateway"
    ACCESS_LINE = "access-line"
    PROVIDER = "provider"
    FAR_END = "far-end"
    NAMES = "names"


class EventKind(StrEnum):
    """What happened."""

    OUTAGE = "outage"
    IMPAIRMENT = "impairment"
    NAMES_FAILURE = "names-failure"
    FAILOVER = "failover"
    FAILBACK = "failback"
    BLACKOUT = "blackout"
    RESTORATION = "restoration"
    NEEDLESS_FAILOVER = "needless-failover"
    STUCK_FAILOVER = "stuck-failover"
    FLAPPING = "flapping"
    UNOBSERVED = "unobserved"
    CLOCK_STEP = "clock-step"
    PIN_LOST = "pin-lost"
    DRILL = "drill"
    PLANNED_WORK = "planned-work"


SWITCHES: Final = frozenset(
    {
        EventKind.FAILOVER,
        EventKind.FAILBACK,
        EventKind.BLACKOUT,
        EventKind.RESTORATION,
        EventKind.NEEDLESS_FAILOVER,
    }
)
"""The kinds that are a change of the carrying uplink."""


@dataclass(frozen=True, slots=True)
class Bounds:
    """An instant that lies between two observations (wall clock): `earliest <= estimate <= latest`."""

    estimate_unix_ns: int
    earliest_unix_ns: int
    latest_unix_ns: int


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happened, from a start to an end; an event without an end is still going on.

    The same `id` is told again whenever more is known; the last telling holds.

    Attributes:
        id: `KIND-UPLINK-STARTINSTANT`, unique within a site, fixed when the event is first told.
        site: The site's name.
        kind: What happened.
        uplink: The uplink it happened to; None for the site as a whole.
        start: When it began.
        end: When it ended, or None.
        domain: Where it broke, or None where that cannot be told.
        from_uplink: For switches: the uplink that traffic left; None from a blackout.
        to_uplink: For switches: the uplink that traffic took; None into a blackout.
        interruption_s: How long unpinned traffic got no answer, in seconds; None where that was not observed.
        planned: Whether it lies in planned work.
        drill: Whether it was rehearsed on purpose.
        detail: Evidence and reasons, JSON values only.
    """

    id: str
    site: str
    kind: EventKind
    uplink: str | None
    start: Bounds
    end: Bounds | None = None
    domain: Domain | None = None
    from_uplink: str | None = None
    to_uplink: str | None = None
    interruption_s: float | None = None
    planned: bool = False
    drill: bool = False
    detail: Mapping[str, Json] = field(default_factory=dict)
