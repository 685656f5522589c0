"""Events as JSON objects: the form that commands print, notices carry and other programs read.

Sources:     RFC 8259 (JSON); RFC 3339 (instants).
Departures:  instants are cut to whole microseconds.
"""

from typing import Final

from wanwatch.core.instants import instant_text
from wanwatch.core.model import Event, Json

FIELDS: Final = (
    "id",
    "site",
    "uplink",
    "kind",
    "start",
    "end",
    "start_earliest",
    "start_latest",
    "end_earliest",
    "end_latest",
    "domain",
    "from",
    "to",
    "interruption_s",
    "planned",
    "drill",
    "detail",
)
"""The fields of an event's JSON object: these, in this order, and no other."""


def event_to_json(event: Event) -> dict[str, Json]:
    """Return the event as a JSON object with exactly `FIELDS`; what is not known is null."""
    end = event.end
    return {
        "id": event.id,
        "site": event.site,
        "uplink": event.uplink,
        "kind": event.kind.value,
        "start": instant_text(event.start.estimate_unix_ns),
        "end": None if end is None else instant_text(end.estimate_unix_ns),
        "start_earliest": instant_text(event.start.earliest_unix_ns),
        "start_latest": instant_text(event.start.latest_unix_ns),
        "end_earliest": None if end is None else instant_text(end.earliest_unix_ns),
        "end_latest": None if end is None else instant_text(end.latest_unix_ns),
        "domain": None if event.domain is None else event.domain.value,
        "from": event.from_uplink,
        "to": event.to_uplink,
        "interruption_s": event.interruption_s,
        "planned": event.planned,
        "drill": event.drill,
        "detail": dict(event.detail),
    }
