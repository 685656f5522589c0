"""A notice as a JSON object: what a webhook is given.

An incident or an event is as `wanwatch events --json` has it, with two exceptions: of URLs only the host is told, since
what stands behind it may be somebody's key; and of an incident of very many events the ones in the middle are left out.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

from wanwatch.core.event_json import event_to_json
from wanwatch.core.incident import Incident, incident_to_json
from wanwatch.core.instants import instant_text
from wanwatch.core.model import Json
from wanwatch.core.notices import Attachment, Case, Notice
from wanwatch.core.shown import shown_event

FIELDS: Final = (
    "id",
    "site",
    "kind",
    "about",
    "count",
    "made",
    "subject",
    "text",
    "lines",
    "incident",
    "event",
    "left_out",
    "notices",
    "report",
)
"""The fields of the JSON object: these, in this order, and no other."""
MOST: Final = 100
"""Events of one incident, and entries of its time line: some 100 kB."""


def facts(
    notice: Notice,
    subject: str,
    text: str,
    *,
    case: Case | None = None,
    parts: Sequence[Mapping[str, Json]] = (),
    report: Attachment | None = None,
) -> dict[str, Json]:
    """Return the notice as a JSON object with exactly `FIELDS`; what it does not tell of is null.

    Args:
        notice: The notice.
        subject: Its letter's subject.
        text: Its letter's text.
        case: What it tells of, if that is an incident or an event.
        parts: The objects of the notices that were joined in it.
        report: The report that it tells of.
    """
    event = event_to_json(shown_event(case.events[0])) if case is not None and case.single else None
    incident, left_out = _incident(case.incident) if case is not None and not case.single else (None, 0)
    return {
        "id": notice.id,
        "site": notice.site,
        "kind": notice.kind.value,
        "about": notice.about,
        "count": notice.count,
        "made": instant_text(notice.made_unix_ns),
        "subject": subject,
        "text": text,
        "lines": [*notice.lines],
        "incident": incident,
        "event": event,
        "left_out": left_out,
        "notices": [dict(part) for part in parts] or None,
        "report": None if report is None else {"name": report.name, "media_type": report.media_type},
    }


def _incident(one: Incident) -> tuple[Json, int]:
    """The incident, and how many of its events are left out."""
    events, beside = (tuple(map(shown_event, events)) for events in (one.events, one.beside))
    told = incident_to_json(replace(one, events=events, beside=beside))
    for field in ("events", "beside", "timeline"):
        items = told[field]
        assert isinstance(items, list)  # noqa: S101 - its fields' kinds are fixed
        told[field] = items if len(items) <= MOST else [*items[: MOST // 2], *items[-MOST // 2 :]]
    return told, max(0, len(events) - MOST)
