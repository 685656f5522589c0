"""The JSON API: one table of routes, from which both the answers and their description are made. It only reads.

Sources:  RFC 8259 (JSON); RFC 3339 (instants); OpenAPI 3.1.0.
"""

import json
from collections.abc import Awaitable, Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

from aiohttp import web

from wanwatch.core.account.timeline import Stretch
from wanwatch.core.door import Keys
from wanwatch.core.event_json import event_to_json
from wanwatch.core.incident import incident_to_json, incidents_in
from wanwatch.core.instants import InstantError, instant_from_text, instant_text
from wanwatch.core.model import NS_PER_S, EventKind, Json, Measurement, MeasurementKind, Span
from wanwatch.core.notices import PostState
from wanwatch.publish.letters.listing import TO_ONLOOKERS, post_to_json
from wanwatch.publish.live import Lately
from wanwatch.web import views
from wanwatch.web.describe import Described, description
from wanwatch.web.doors import cookie_name
from wanwatch.web.office import KEPT_NS, Kept, Office, Reader
from wanwatch.web.pages import kept
from wanwatch.web.stream import Stream

_Answer = Callable[[web.Request], Awaitable[web.StreamResponse]]


@dataclass(frozen=True, slots=True)
class Route:
    """One way to ask, and what is said about it."""

    described: Described
    answer: _Answer


class Api:
    """Answers for programs.

    Args:
        office: Where the facts come from.
        reader: Reads the record.
        stream: Tells onlookers what has changed.
        version: The program's.
        keys: Returns what requests have to show.
    """

    def __init__(
        self, office: Office, reader: Reader, stream: Stream, *, version: str, keys: Callable[[], Keys]
    ) -> None:
        self._office, self._reader = office, reader
        self._version, self._keys = version, keys
        self.table: Final = (
            Route(Described("/api/site", "The office as a whole", "Site"), self.site),
            Route(Described("/api/uplinks", "Each line: state, last minute, last day", "Uplinks"), self.uplinks),
            Route(Described("/api/events", "What happened", "Events", ("since", "until", "event-kind")), self.events),
            Route(
                Described("/api/incidents", "What of it belongs together", "Incidents", ("since", "until")),
                self.incidents,
            ),
            Route(
                Described(
                    "/api/measurements", "What was measured on purpose", "Measurements",
                    ("since", "until", "measurement-kind", "uplink"),
                ),
                self.measurements,
            ),
            Route(
                Described("/api/notices", "What people were told", "Notices", ("since", "until", "notice-state")),
                self.notices,
            ),
            Route(Described("/api/stream", "Server-sent events: state, carrying, event, figures", None), stream.answer),
            Route(Described("/api/openapi.json", "This description", "Description"), self.describe),
        )  # fmt: skip

    @property
    def routes(self) -> list[web.RouteDef]:
        """All ways to ask."""
        return [web.get(route.described.path, route.answer) for route in self.table]

    async def describe(self, request: web.Request) -> web.Response:
        """The description of this API."""
        routes = [route.described for route in self.table]
        return _json(description(routes, self._version, self._keys(), cookie_name(request)))

    async def site(self, _request: web.Request) -> web.Response:
        """The office as a whole."""
        health: Any = self._office.health()
        told = {key: health[key] for key in ("status", "version", "carrying", "drills", "data")}
        return _json(
            {
                "name": health["site"],
                "timezone": str(self._office.zone()),
                "started": instant_text(health["started_unix_s"] * NS_PER_S),
                "reports": [path.name for path in kept(self._office.reports)],
            }
            | told
        )

    async def uplinks(self, _request: web.Request) -> web.Response:
        """Each line."""
        health: Any = self._office.health()
        reading = await self._reader.read()
        lately = self._office.lately()
        carriers = views.carriers(health["carrying"])
        return _json(
            [
                {
                    "name": row["name"],
                    "state": row["state"],
                    "since": instant_text(round(row["since_unix_s"] * NS_PER_S)) if row["since_unix_s"] else None,
                    "carrying": row["name"] in carriers if health["carrying"]["known"] else None,
                    "last_minute": [_lately(one) for one in lately if one.series.uplink == row["name"]],
                    "last_day": [_stretch(one) for one in reading.states.get(row["name"], ())],
                    "allowance": next(
                        (_allowed(one) for one in health["allowances"] if one["uplink"] == row["name"]), None
                    ),
                    "speed": next((test for test in health["speed"] if test["uplink"] == row["name"]), None),
                }
                for row in health["uplinks"]
            ]
        )

    async def events(self, request: web.Request) -> web.Response:
        """What happened."""
        span = self._span(request)
        kinds = [_one_of(EventKind, kind) for kind in request.query.getall("kind", [])]
        return await self._listed(lambda record, site: map(event_to_json, record.events(site, span, kinds)))

    async def incidents(self, request: web.Request) -> web.Response:
        """What belongs together."""
        span = self._span(request)
        return await self._listed(lambda record, site: map(incident_to_json, incidents_in(record, site, span)))

    async def measurements(self, request: web.Request) -> web.Response:
        """What was measured on purpose."""
        span, uplink = self._span(request), request.query.get("uplink")
        kinds = [_one_of(MeasurementKind, kind) for kind in request.query.getall("kind", [])]
        return await self._listed(
            lambda record, site: (
                _measured(one)
                for one in record.measurements(site, span, None, uplink)
                if not kinds or one.kind in kinds
            )
        )

    async def notices(self, request: web.Request) -> web.Response:
        """What people were told, and whether they have it."""
        span, state = self._span(request), request.query.get("state")
        wanted = None if state is None else _one_of(PostState, state, "state")

        def found(record: Kept, site: str) -> Iterator[dict[str, Json]]:
            told = map(post_to_json, record.posts(site, span, state=wanted))
            return ({field: one[field] for field in TO_ONLOOKERS} for one in told)

        return await self._listed(found)

    async def _listed(self, found: Callable[[Kept, str], Iterable[dict[str, Json]]]) -> web.Response:
        """Answer with what is found, written on the reading thread: years of events are megabytes."""

        def written(record: Kept, site: str) -> bytes:
            return f"[{', '.join(map(json.dumps, found(record, site)))}]".encode()

        body = await self._office.read(written)
        return web.Response(body=body, content_type="application/json", charset="utf-8")

    def _span(self, request: web.Request) -> Span:
        until_unix_ns = _instant(request, "until", self._office.clock.now_unix_ns() + NS_PER_S)
        since_unix_ns = _instant(request, "since", until_unix_ns - KEPT_NS)
        return Span(min(since_unix_ns, until_unix_ns), until_unix_ns)


def _instant(request: web.Request, name: str, usual_unix_ns: int) -> int:
    text = request.query.get(name)
    if text is None:
        return usual_unix_ns
    try:
        return instant_from_text(text)
    except InstantError as error:
        raise web.HTTPBadRequest(text=f"{name}: {error}") from error


def _one_of(kinds: type[Any], text: str, what: str = "kind") -> Any:
    try:
        return kinds(text)
    except ValueError as error:
        known = ", ".join(kind.value for kind in kinds)
        raise web.HTTPBadRequest(text=f"{what} {text!r}: there is no such {what}; write one of {known}") from error


def _lately(one: Lately) -> dict[str, Json]:
    series = one.series
    return {
        "target": series.target,
        "kind": series.kind.value,
        "probes": one.asked,
        "delay_s": one.delay_s,
        "loss_ratio": one.loss_ratio,
    }


def _allowed(row: Mapping[str, Json]) -> dict[str, Json]:
    return {key: row[key] for key in ("per", "allowed_s", "left_s")}


def _measured(one: Measurement) -> dict[str, Json]:
    at = instant_text(one.at_unix_ns)
    return {"at": at, "uplink": one.uplink, "kind": one.kind.value, "result": dict(one.result)}


def _stretch(one: Stretch) -> dict[str, Json]:
    start, end = (instant_text(unix_ns) for unix_ns in (one.span.start_unix_ns, one.span.end_unix_ns))
    return {"state": one.state.value, "start": start, "end": end}


def _json(value: object) -> web.Response:
    return web.Response(text=json.dumps(value), content_type="application/json")
