"""Events as JSON objects."""

from dataclasses import replace

from wanwatch.core.event_json import FIELDS, event_to_json
from wanwatch.core.model import Bounds, Domain, Event, EventKind

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


def test_what_an_event_does_not_have_is_null() -> None:
    """Null is written, not left out, so that every event has every field."""
    told = event_to_json(replace(OUTAGE, end=None, domain=None, uplink=None, interruption_s=None))
    absent = ("end", "end_earliest", "end_latest", "domain", "uplink", "from", "to", "interruption_s")
    assert {name for name, value in told.items() if value is None} == set(absent)
