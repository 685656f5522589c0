"""Incidents as JSON objects, beside events: instants likewise, lengths in seconds."""

from typing import Final

from wanwatch.core.event_json import event_to_json
from wanwatch.core.incident.joining import Entry, Incident
from wanwatch.core.instants import instant_text
from wanwatch.core.model import Json

FIELDS: Final = (
    "id",
    "site",
    "start",
    "end",
    "start_earliest",
    "start_latest",
    "end_earliest",
    "end_latest",
    "cause",
    "signs",
    "uplinks",
    "cut_off_s",
    "planned",
    "drill",
    "timeline",
    "events",
    "beside",
)
"""The fields of an incident's JSON object: these, in this order, and no other."""


def incident_to_json(incident: Incident) -> dict[str, Json]:
    """Return the incident as a JSON object with exactly `FIELDS`; what is not known is null."""
    start, end = incident.start, incident.end
    return {
        "id": incident.id,
        "site": incident.lead.site,
        "start": instant_text(start.estimate_unix_ns),
        "end": None if end is None else instant_text(end.estimate_unix_ns),
        "start_earliest": instant_text(start.earliest_unix_ns),
        "start_latest": instant_text(start.latest_unix_ns),
        "end_earliest": None if end is None else instant_text(end.earliest_unix_ns),
        "end_latest": None if end is None else instant_text(end.latest_unix_ns),
        "cause": incident.cause.value,
        "signs": [*sorted(sign.value for sign in incident.signs)],
        "uplinks": [*incident.uplinks],
        "cut_off_s": incident.cut_off_s,
        "planned": incident.planned,
        "drill": incident.drill,
        "timeline": [_entry(entry) for entry in incident.entries],
        "events": [event_to_json(event) for event in incident.events],
        "beside": [event_to_json(event) for event in incident.beside],
    }


def _entry(entry: Entry) -> Json:
    return {
        "at": instant_text(entry.at.estimate_unix_ns),
        "earliest": instant_text(entry.at.earliest_unix_ns),
        "latest": instant_text(entry.at.latest_unix_ns),
        "edge": entry.edge.value,
        "event": entry.event.id,
    }
