"""An office as pages and API see it, without a daemon."""

import contextlib
from datetime import UTC
from pathlib import Path

from tests.fakes.clock import START_UNIX_NS, FakeClock
from tests.fakes.record import FakeRecord
from wanwatch.core.model import NS_PER_S, Event, Json, Kind, Role, Series, Span
from wanwatch.publish.live import Lately
from wanwatch.web import Office


def health_of(site: str = "harbour-lane", line: str = "fibre") -> dict[str, Json]:
    """What the daemon says of an office with one line that is up."""
    return {
        "status": "ok", "site": site, "version": "1", "started_unix_s": START_UNIX_NS // NS_PER_S - 3600,
        "carrying": {"uplink": line, "known": True, "shares": []},
        "uplinks": [{"name": line, "state": "up", "since_unix_s": START_UNIX_NS / NS_PER_S - 60}],
        "resolvers": [], "drills": [], "data": [], "speed": [],
    }  # fmt: skip


def office(folder: Path, health: dict[str, Json] | None = None, events: tuple[Event, ...] = ()) -> Office:
    """Such an office, with these events in its record."""
    said = health or health_of()
    row = said["uplinks"]
    assert isinstance(row, list)
    assert isinstance(row[0], dict)
    series = Series(str(row[0]["name"]), "near", Kind.ECHO, Role.LINE)
    record = FakeRecord(str(said["site"]), events, [Span(START_UNIX_NS - 3600 * NS_PER_S, START_UNIX_NS)], [])
    return Office(
        health=lambda: said,
        lately=lambda: [Lately(series, 60, 0.0123, 0.05)],
        record=lambda: contextlib.nullcontext(record),
        zone=lambda: UTC,
        clock=FakeClock(),
        reports=folder / "reports",
    )
