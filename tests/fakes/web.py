"""An office as pages and API see it, without a daemon."""

import contextlib
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC
from pathlib import Path
from typing import Final

from tests.fakes.clock import START_UNIX_NS, FakeClock
from tests.fakes.record import FakeRecord, minute_block
from wanwatch.core.instants import instant_text
from wanwatch.core.model import (
    NS_PER_S,
    Bounds,
    Domain,
    Event,
    EventKind,
    Json,
    Kind,
    Measurement,
    MeasurementKind,
    Role,
    Series,
    Span,
)
from wanwatch.publish.live import Lately
from wanwatch.web.office import Office

DAY_S = 86_400
CUT_S, PAST_S, IMPAIRED_S = 600, 6 * 3600, 9 * 3600
"""How long ago the outage that goes on began, one that is over ended, and an impairment began."""

ODD: Final = {
    "script": "<script>alert(1)</script>",
    "long": "W" * 200,
    "leftward": "סיב אופטי 7",
    "picture": "\N{SATELLITE ANTENNA}/%2e\N{GRINNING FACE}\"'$(x)",
}
"""Names that are allowed, and that somebody may give a site or a line; the third one says "optic fibre" in Hebrew."""


def health_of(site: str = "harbour-lane", line: str = "fibre") -> dict[str, Json]:
    """What the daemon says of an office with one line that is up."""
    return {
        "status": "ok", "site": site, "version": "1", "started_unix_s": START_UNIX_NS // NS_PER_S - 3600,
        "carrying": {"uplink": line, "known": True, "shares": []},
        "uplinks": [{"name": line, "state": "up", "since_unix_s": START_UNIX_NS / NS_PER_S - 60}],
        "resolvers": [], "drills": [], "data": [], "speed": [], "allowances": [],
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


def troubled_office(folder: Path, site: str = "harbour-lane", first: str = "fibre", second: str = "copper") -> Office:
    """An office in which all that pages can show is there: *first* is down, *second* carries, reports were kept."""
    (folder / "reports").mkdir(exist_ok=True)
    for name in ("2026-09.html", "2026-10.html", "2026-10.json"):
        (folder / "reports" / name).write_text("<!DOCTYPE html><title>A report</title><p>An invented report.", "utf-8")
    health = health_of(site, second)
    health["uplinks"] = [
        {"name": first, "state": "down", "since_unix_s": START_UNIX_NS / NS_PER_S - CUT_S},
        {"name": second, "state": "up", "since_unix_s": START_UNIX_NS / NS_PER_S - 20 * 3600},
    ]
    health["drills"] = [{"uplink": first, "every_s": 90.0 * DAY_S, "last_unix_s": None, "overdue": True}]
    used: Json = {"uplink": second, "used_bytes": 412_000_000, "budget_bytes": 2_000_000_000, "sparing": False}
    assert isinstance(used, dict)
    health["data"] = [used | {"purposes": {"line": 412_000_000}}]
    health["allowances"] = [{"uplink": first, "per": "month", "allowed_s": 2592.0, "left_s": 792.0}]
    health["speed"] = [_last_test(first, 912e6, 108e6), _last_test(second, 41e6, 8.9e6)]
    said = office(folder, health)
    asked = [Series(name, target, Kind.ECHO, Role.LINE) for name in (first, second) for target in ("near", "far")]
    minutes = range((START_UNIX_NS - DAY_S * NS_PER_S) // (60 * NS_PER_S), START_UNIX_NS // (60 * NS_PER_S))
    blocks = [minute_block(one, minute, [0], [9000]) for one in asked[::2] for minute in minutes]
    watched = [Span(START_UNIX_NS - (DAY_S - 5400) * NS_PER_S, START_UNIX_NS)]
    record = FakeRecord(site, _story(site, first, second), watched, blocks)
    record.measured = [_test(name, hours) for name in (first, second) for hours in (26, 14, 2)]
    told = [Lately(one, 60, 0.031, 0.0) if one.uplink == second else Lately(one, 60, None, 1.0) for one in asked]
    return replace(said, lately=lambda: told, record=lambda: contextlib.nullcontext(record))


def _story(site: str, first: str, second: str) -> Sequence[Event]:
    """What happened: a bad hour, an outage with its two switches, and the outage that goes on."""

    def outage(name: str, ago_s: int, lasted_s: int | None) -> Event:
        end = None if lasted_s is None else _ago(ago_s - lasted_s)
        return Event(f"{name}-{first}", site, EventKind.OUTAGE, first, _ago(ago_s), end, domain=Domain.ACCESS_LINE)

    def switch(name: str, kind: EventKind, ago_s: int, ways: tuple[str, str]) -> Event:
        at = _ago(ago_s)
        return Event(name, site, kind, None, at, at, from_uplink=ways[0], to_uplink=ways[1], interruption_s=4.2)

    return (
        Event("slow-1", site, EventKind.IMPAIRMENT, second, _ago(IMPAIRED_S), _ago(IMPAIRED_S - 2400)),
        outage("outage", PAST_S, 1200),
        switch("away-1", EventKind.FAILOVER, PAST_S - 5, (first, second)),
        switch("back-1", EventKind.FAILBACK, PAST_S - 1260, (second, first)),
        outage("outage-now", CUT_S, None),
        switch("away-2", EventKind.FAILOVER, CUT_S - 5, (first, second)),
    )


def _ago(seconds: int) -> Bounds:
    at = START_UNIX_NS - seconds * NS_PER_S
    return Bounds(at, at, at)


def _last_test(uplink: str, down_bps: float, up_bps: float) -> dict[str, Json]:
    at = instant_text(START_UNIX_NS - 7200 * NS_PER_S)
    said: dict[str, Json] = {"uplink": uplink, "at": at, "skipped": None, "unfinished": False}
    for way, bps in (("down", down_bps), ("up", up_bps)):
        said |= {f"{way}_bps": bps, f"{way}_counts": True, f"{way}_busy": None}
    return said


def _test(uplink: str, hours_ago: int) -> Measurement:
    runs: dict[str, Json] = {
        way: {"goodput": {"bps": bps}, "counts": way == "down"} for way, bps in (("down", 9.1e8), ("up", 1.08e8))
    }
    return Measurement(START_UNIX_NS - hours_ago * 3600 * NS_PER_S, uplink, MeasurementKind.SPEED, runs)
