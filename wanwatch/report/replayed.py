"""The verdicts that there would have been: a contract's promises, judged over a replay's events by the month's code.

The time that is judged again stands for the month, so a verdict says what these settings make of that time alone.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from wanwatch.core.account.period import stretch
from wanwatch.core.model import Event, EventKind, Span
from wanwatch.core.planned import marked
from wanwatch.core.ports import Record
from wanwatch.core.replay import Ruled
from wanwatch.report.month import build_period
from wanwatch.report.subject import Subject
from wanwatch.report.through import Through


@dataclass(frozen=True, slots=True)
class AsIf(Through):
    """A record with other events: those that a judge with other settings would have told. Announced work stays."""

    told: Sequence[Event]

    def events(self, site: str, span: Span | None = None, kinds: Collection[EventKind] = ()) -> list[Event]:
        """The other events that overlap *span*, and announced work."""
        planned = self.record.events(site, span, [EventKind.PLANNED_WORK])
        found = [event for event in self.told if span is None or _overlaps(event, span)]
        found = sorted([*marked(found, planned), *planned], key=lambda event: event.start.estimate_unix_ns)
        return [event for event in found if not kinds or event.kind in kinds]


def ruled(record: Record, subject: Subject, events: Sequence[Event], span: Span) -> tuple[Ruled, ...]:
    """Return each promise of each line with its verdict over *span*, had *events* been told."""
    over = stretch(span, subject.zone)
    told = [event for event in events if event.kind is not EventKind.PLANNED_WORK]
    month = build_period(AsIf(record, told), subject, over, span.end_unix_ns)
    return tuple(
        Ruled(uplink.name, clause.promise, clause.ruling.verdict)
        for uplink in month.uplinks
        for clause in uplink.clauses
    )


def _overlaps(event: Event, span: Span) -> bool:
    ended = event.end is not None and event.end.estimate_unix_ns < span.start_unix_ns
    return event.start.estimate_unix_ns < span.end_unix_ns and not ended
