"""Manners: what holds a speed test off.

A test fills a line. It is never begun where it would measure trouble instead of the line, stand in the way of a
failover that is going on, mix with what somebody does on purpose, or cost more data than was agreed.

Source: the rules are ours, with no published source.
"""

from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from wanwatch.core.model import NS_PER_S, SWITCHES, UNPINNED, Event, EventKind, State
from wanwatch.core.planned import counts


class Reason(StrEnum):
    """Why a test is held off."""

    DOWN = "down"
    UNOBSERVED = "unobserved"
    UNSETTLED = "unsettled"
    SWITCHING = "switching"
    DRILL = "drill"
    PLANNED_WORK = "planned-work"
    BUDGET = "budget"
    ANOTHER_TEST = "another-test"
    NO_RECORD = "no-record"
    BUSY = "busy"


WORDS: Final[Mapping[Reason, str]] = {
    Reason.DOWN: "the line was down",
    Reason.UNOBSERVED: "the line was out of sight",
    Reason.UNSETTLED: "the line was silent for a moment, or had just come back",
    Reason.SWITCHING: "traffic was moving from one line to another",
    Reason.DRILL: "a drill was going on",
    Reason.PLANNED_WORK: "planned work was going on",
    Reason.BUDGET: "the data budget has nothing left for it so far this month",
    Reason.ANOTHER_TEST: "another test of this site was under way",
    Reason.BUSY: "the line was busy",
    Reason.NO_RECORD: "the record could not be written, so nothing would have come of it",
}

HOPELESS: Final = frozenset({Reason.BUDGET})
"""Nothing changes these within minutes: they are not waited for."""
SETTLE_NS: Final = 60 * NS_PER_S
"""After traffic has moved, people's connections are made anew, and it may move again."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """How things stand for a test that would begin now.

    Attributes:
        uplink: Of which uplink.
        state: Its state; None before the first is known.
        quick: What is probed quickly at this moment: uplinks, and the unpinned path.
        moved_ago_ns: How long ago ordinary traffic moved; None: not since the daemon has begun.
        events: Events that overlap the time the test would take.
        needs: The most bytes that it may use.
        left: What the data budget leaves for it; None: there is none.
    """

    uplink: str
    state: State | None
    quick: Collection[str] = ()
    moved_ago_ns: int | None = None
    events: Iterable[Event] = ()
    needs: int = 0
    left: int | None = None


# The first reason that holds is the one that is told. A drill moves the whole site's traffic, whichever line it is of.
_RULES: Final[tuple[tuple[Reason, Callable[[Standing], bool]], ...]] = (
    (Reason.UNOBSERVED, lambda now: now.state is None or now.state is State.UNOBSERVED),
    (Reason.DOWN, lambda now: now.state is State.DOWN),
    (Reason.DRILL, lambda now: any(event.kind is EventKind.DRILL for event in now.events)),
    (Reason.PLANNED_WORK, lambda now: any(counts(event) and _concerns(now, event) for event in now.events)),
    (Reason.SWITCHING, lambda now: UNPINNED in now.quick or any(_switches(event) for event in now.events)),
    (Reason.SWITCHING, lambda now: now.moved_ago_ns is not None and now.moved_ago_ns < SETTLE_NS),
    (Reason.UNSETTLED, lambda now: now.uplink in now.quick),
    (Reason.BUDGET, lambda now: now.left is not None and now.needs > now.left),
)

LOOKED_AT: Final = frozenset({EventKind.DRILL, EventKind.PLANNED_WORK, *SWITCHES})
"""Kinds of events that may hold a test off."""


def held_off(now: Standing) -> Reason | None:
    """Return why a test has to wait; None: it may begin."""
    return next((reason for reason, holds in _RULES if holds(now)), None)


def _concerns(now: Standing, event: Event) -> bool:
    return event.uplink is None or event.uplink == now.uplink


def _switches(event: Event) -> bool:
    return event.kind in SWITCHES and event.end is None
