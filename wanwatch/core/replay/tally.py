"""Tallies: events added up, so that settings stand side by side."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from wanwatch.core.account.spans import intersect, total_ns, union
from wanwatch.core.account.timeline import event_span
from wanwatch.core.model import NS_PER_S, SWITCHES, Event, EventKind, Span


@dataclass(frozen=True, slots=True)
class LineTally:
    """One line's events within a span; seconds are those within it, by the estimates of the instants."""

    uplink: str
    outages: int
    down_s: float
    impairments: int
    impaired_s: float
    names_failures: int


@dataclass(frozen=True, slots=True)
class Tally:
    """All of a site's events within a span."""

    lines: tuple[LineTally, ...]
    switches: int
    needless: int
    stuck: int
    blackouts: int


def tally(events: Sequence[Event], uplinks: Iterable[str], span: Span) -> Tally:
    """Add up *events*; one that has no end lasts until the end of *span*."""
    kinds = Counter(event.kind for event in events)
    return Tally(
        lines=tuple(_line([event for event in events if event.uplink == name], name, span) for name in uplinks),
        switches=sum(kinds[kind] for kind in SWITCHES),
        needless=kinds[EventKind.NEEDLESS_FAILOVER],
        stuck=kinds[EventKind.STUCK_FAILOVER],
        blackouts=kinds[EventKind.BLACKOUT],
    )


def _line(events: Sequence[Event], uplink: str, span: Span) -> LineTally:
    outages = [event for event in events if event.kind is EventKind.OUTAGE]
    impairments = [event for event in events if event.kind is EventKind.IMPAIRMENT]
    return LineTally(
        uplink,
        len(outages),
        _seconds(outages, span),
        len(impairments),
        _seconds(impairments, span),
        sum(1 for event in events if event.kind is EventKind.NAMES_FAILURE),
    )


def _seconds(events: Iterable[Event], span: Span) -> float:
    held = (event_span(event, span.end_unix_ns) for event in events)
    return total_ns(intersect(union(held), [span])) / NS_PER_S  # impairments by loss and by speed may overlap
