"""Builds a dossier from a record."""

from collections.abc import Iterable
from difflib import get_close_matches
from typing import Final

import numpy as np

from wanwatch.core.account.spans import subtract
from wanwatch.core.incident import Incident, incidents_in
from wanwatch.core.model import UNPINNED, Event, EventKind, Series, Span
from wanwatch.core.ports import MinuteBlock, Record
from wanwatch.core.shown import shown, shown_event
from wanwatch.report.dossier.errors import EventIdError
from wanwatch.report.dossier.values import AROUND_NS, Dossier, Lane, Trace, nearest_first
from wanwatch.report.subject import Subject, UplinkPlan

_MINUTE_US: Final = 60_000_000
_MINUTE_NS: Final = _MINUTE_US * 1000
_WORD: Final = np.dtype("<u4")


def build(record: Record, subject: Subject, event_id: str, *, now_unix_ns: int, clock_error_us: int | None) -> Dossier:
    """Gather the evidence for one outage.

    Args:
        record: The record.
        subject: The site and its lines.
        event_id: The outage's id.
        now_unix_ns: The wall clock.
        clock_error_us: By how much that clock can be off UTC; None where nothing disciplines it.

    Raises:
        EventIdError: No outage has this id.
    """
    outage = shown_event(find(record.events(subject.site), event_id))
    extent = Span(outage.start.earliest_unix_ns, outage.end.latest_unix_ns if outage.end else now_unix_ns)
    window = _window(record, subject.site, extent)
    blocks = list(record.blocks(subject.site, _whole_minutes(window)))
    return Dossier(
        site=subject.site,
        timezone=subject.timezone,
        outage=outage,
        plan=next((p for p in subject.uplinks if p.name == outage.uplink), UplinkPlan(name=outage.uplink or "")),
        window=window,
        now_unix_ns=now_unix_ns,
        lanes=_lanes(_traces(blocks, window), outage, [plan.name for plan in subject.uplinks]),
        around=tuple(shown_event(event) for event in record.events(subject.site, window) if event.id != outage.id),
        incident=_incident(record, subject.site, outage),
        watched=not subtract([extent], record.watched(subject.site, extent)),
        raw_gone=any(block.sent and not block.rtts for block in blocks),
        clock_error_us=clock_error_us,
        pen=subject.pen,
    )


def find(events: Iterable[Event], event_id: str) -> Event:
    """Return the outage of this id.

    Raises:
        EventIdError: No outage has it.
    """
    known = {event.id: event for event in events}
    event = known.get(event_id)
    if event is not None and event.kind is EventKind.OUTAGE:
        return event
    outages = [one.id for one in known.values() if one.kind is EventKind.OUTAGE]
    # Ids of one line differ in their instants only; where nothing resembles, the latest are the likeliest.
    nearest = get_close_matches(event_id, outages, n=3) or outages[-3:]
    what = "no event has this id" if event is None else f"is of kind {event.kind}, and a dossier is made of an outage"
    raise EventIdError(event_id, what, nearest)


def _incident(record: Record, site: str, outage: Event) -> Incident:
    begun = outage.start.estimate_unix_ns
    around = incidents_in(record, site, Span(begun, begun + 1))
    one = next(one for one in around if any(event.id == outage.id for event in one.events))
    return Incident(*(tuple(map(shown_event, part)) for part in (one.events, one.beside)))


def _window(record: Record, site: str, extent: Span) -> Span:
    """Return what is shown: some minutes before and after, without edges in which nobody was looking."""
    widest = Span(extent.start_unix_ns - AROUND_NS, extent.end_unix_ns + AROUND_NS)
    looked = record.watched(site, widest) or [extent]
    return Span(min(extent.start_unix_ns, looked[0].start_unix_ns), max(extent.end_unix_ns, looked[-1].end_unix_ns))


def _whole_minutes(window: Span) -> Span:
    return Span(window.start_unix_ns // _MINUTE_NS * _MINUTE_NS, window.end_unix_ns)


def _traces(blocks: Iterable[MinuteBlock], window: Span) -> list[Trace]:
    by_series: dict[Series, list[MinuteBlock]] = {}
    for block in blocks:
        if block.rtts:
            by_series.setdefault(block.series, []).append(block)
    return [_trace(series, mine, window) for series, mine in by_series.items()]


def _trace(series: Series, blocks: Iterable[MinuteBlock], window: Span) -> Trace:
    sent_us = np.concatenate([np.frombuffer(b.offsets, _WORD) + np.int64(b.minute * _MINUTE_US) for b in blocks])
    words = np.concatenate([np.frombuffer(b.rtts, _WORD) for b in blocks])
    inside = (sent_us >= window.start_unix_ns // 1000) & (sent_us < window.end_unix_ns // 1000)
    shown_as = series._replace(target=shown(series.target))
    return Trace(series=shown_as, sent_us=sent_us[inside], words=words[inside])


def _lanes(traces: Iterable[Trace], outage: Event, order: list[str]) -> tuple[Lane, ...]:
    """The line that was down first, then the others in order of preference, ordinary traffic last."""
    by_uplink: dict[str, list[Trace]] = {name: [] for name in (outage.uplink or "", *order) if name}
    for trace in traces:
        by_uplink.setdefault(trace.series.uplink, []).append(trace)
    ordinary = by_uplink.pop(UNPINNED, [])
    lanes = [*by_uplink.items(), (UNPINNED, ordinary)]
    return tuple(Lane(name=name, traces=tuple(sorted(mine, key=nearest_first))) for name, mine in lanes if mine)
