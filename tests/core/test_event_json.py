"""Events as JSON objects."""

import json
from dataclasses import replace

import pytest

from wanwatch.core.event_json import FIELDS, EventJsonError, event_from_json, event_to_json
from wanwatch.core.model import Bounds, Domain, Event, EventKind, Json

START = 1_793_700_000_000_000_000
OUTAGE = Event(
    id="outage-fibre-20261103T100000Z",
    site="harbour-lane",
    kind=EventKind.OUTAGE,
    uplink="fibre",
    start=Bounds(START + 1_000_000, START, START + 2_000_000),
    end=Bounds(START + 60_000_000_000, START + 59_900_000_000, START + 60_100_000_000),
    domain=Domain.ACCESS_LINE,
    interruption_s=2.5,
    detail={"ladder": ["gateway"]},
)


def test_an_event_has_exactly_the_published_fields() -> None:
    """Other programs read these names; there is no other."""
    assert event_to_json(OUTAGE) == {
        "id": "outage-fibre-20261103T100000Z",
        "site": "harbour-lane",
        "uplink": "fibre",
        "kind": "outage",
        "start": "2026-11-03T10:00:00.001000Z",
        "end": "2026-11-03T10:01:00.000000Z",
        "start_earliest": "2026-11-03T10:00:00.000000Z",
        "start_latest": "2026-11-03T10:00:00.002000Z",
        "end_earliest": "2026-11-03T10:00:59.900000Z",
        "end_latest": "2026-11-03T10:01:00.100000Z",
        "domain": "access-line",
        "from": None,
        "to": None,
        "interruption_s": 2.5,
        "planned": False,
        "drill": False,
        "detail": {"ladder": ["gateway"]},
    }
    assert tuple(event_to_json(OUTAGE)) == FIELDS


@pytest.mark.parametrize(
    "event",
    [
        OUTAGE,
        replace(OUTAGE, end=None, domain=None, uplink=None, interruption_s=None),
        replace(OUTAGE, kind=EventKind.FAILOVER, from_uplink="fibre", to_uplink="copper", planned=True, drill=True),
    ],
)
def test_an_event_comes_back_from_its_json(event: Event) -> None:
    """Through text too."""
    assert event_from_json(json.loads(json.dumps(event_to_json(event)))) == event


@pytest.mark.parametrize(
    ("field", "value", "told"),
    [
        ("kind", "earthquake", "event field 'kind': 'earthquake': 'earthquake' is not a valid EventKind"),
        ("start", 5, "event field 'start': 5: not a str"),
        ("end_latest", "soon", "event field 'end_latest': 'soon': instant 'soon': not a date"),
        ("planned", 1, "event field 'planned': 1: not a bool"),
        ("interruption_s", True, "event field 'interruption_s': True: not a number of seconds"),
        ("severity", "high", "event field 'severity': 'high': unknown field"),
        ("detail", [], "event field 'detail': []: not a dict"),
    ],
)
def test_a_field_that_holds_what_it_cannot_is_named(field: str, value: Json, told: str) -> None:
    """The field, the value and the reason."""
    with pytest.raises(EventJsonError) as caught:
        event_from_json(event_to_json(OUTAGE) | {field: value})
    assert str(caught.value).startswith(told)


def test_a_missing_field_is_named() -> None:
    """Null is written, not left out."""
    given = event_to_json(OUTAGE)
    del given["drill"]
    with pytest.raises(EventJsonError, match=r"event field 'drill': None: missing"):
        event_from_json(given)
