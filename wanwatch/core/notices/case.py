"""A case: what one is told of as a whole. An incident is one, and so is an event that belongs to none: a lost pin."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from wanwatch.core.incident import Incident, incidents, incidents_in
from wanwatch.core.incident.joining import BESIDE
from wanwatch.core.model import NS_PER_S, SWITCHES, Event, EventKind, Span
from wanwatch.core.notices.notice import Kind, Notice
from wanwatch.core.ports import Record

STALE_NS: Final = 2 * 86_400 * NS_PER_S
"""What was over so long ago and was not told is no news: nobody was asked to tell it when it was."""
CLOSING: Final = frozenset({Kind.ENDED, Kind.PASSED})
"""The notices after which nothing is left to be told, unless it comes again."""
_MOMENTS: Final = SWITCHES | {EventKind.CLOCK_STEP}


@dataclass(frozen=True, slots=True)
class Case:
    """What one is told of as a whole.

    Attributes:
        incident: What happened; a single event of a kind that starts no incident is put like one.
    """

    incident: Incident

    @property
    def id(self) -> str:
        """The incident's id, or the event's where it belongs to none."""
        return self.incident.lead.id if self.single else self.incident.id

    @property
    def single(self) -> bool:
        """Whether it is an event that belongs to no incident."""
        return self.incident.lead.kind in BESIDE

    @property
    def events(self) -> tuple[Event, ...]:
        """Its members, by start."""
        return self.incident.events

    def names(self) -> frozenset[str]:
        """Return the ids by which it may have been told: an incident's can change with what joins it."""
        return frozenset({self.id, *(f"incident-{event.id}" for event in self.events)})


def cases(events: Iterable[Event]) -> list[Case]:
    """Return the cases of one site, by start. *events* are marked as planned, or as of a drill, where they are."""
    known = list(events)
    single = [Incident((event,)) for event in known if event.kind in BESIDE]
    return _by_start([*incidents(known), *single])


def cases_in(record: Record, site: str, told: Iterable[Notice], now_unix_ns: int) -> list[Case]:
    """Return the cases that there may be something to tell of at *now_unix_ns*, after *told* (to whomever)."""
    span = Span(min(now_unix_ns - STALE_NS, _open_since(told, now_unix_ns)), now_unix_ns + 1)
    single = [Incident((event,)) for event in record.events(site, span, BESIDE)]
    return _by_start([*incidents_in(record, site, span), *single])


def over_ns(event: Event, now_unix_ns: int) -> int | None:
    """Return when *event* was over, as Unix nanoseconds; None while it goes on."""
    if event.kind in _MOMENTS:
        return (event.end or event.start).estimate_unix_ns
    if event.end is None or event.end.estimate_unix_ns > now_unix_ns:  # an announced end is still to come
        return None
    return event.end.estimate_unix_ns


def flat(told: Iterable[Notice]) -> list[Notice]:
    """Return the notices with those that were joined into one apart again; in their order, as clocks are set back."""
    return [part for notice in told for part in (notice.parts or (notice,))]


def _by_start(found: Iterable[Incident]) -> list[Case]:
    return [Case(one) for one in sorted(found, key=lambda one: (one.start.estimate_unix_ns, one.id))]


def _open_since(told: Iterable[Notice], now_unix_ns: int) -> int:
    """When the first notice was made that waits for its end."""
    waiting: dict[tuple[str, str], int] = {}
    for notice in flat(told):
        if notice.kind in CLOSING:
            for about in (notice.about, *notice.also):
                waiting.pop((notice.to, about), None)
        elif notice.kind not in {Kind.REPORT, Kind.TEST}:
            waiting.setdefault((notice.to, notice.about), notice.made_unix_ns)
    return min(waiting.values(), default=now_unix_ns)
