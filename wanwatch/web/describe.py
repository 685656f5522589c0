"""The API's description, made of its table of routes.

Source:   OpenAPI 3.1.0, whose schemas are JSON Schema 2020-12; RFC 6750 (bearer token).
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from wanwatch.core.account.calendar import Per
from wanwatch.core.door import Keys
from wanwatch.core.event_json import FIELDS as EVENT_FIELDS
from wanwatch.core.incident import FIELDS as INCIDENT_FIELDS
from wanwatch.core.model import Domain, EventKind, Kind, MeasurementKind, State
from wanwatch.core.notices import Kind as NoticeKind
from wanwatch.core.notices import PostState
from wanwatch.publish.letters.listing import TO_ONLOOKERS


@dataclass(frozen=True, slots=True)
class Described:
    """What is said of one route.

    Attributes:
        path: Where.
        summary: What it tells.
        schema: The name of its answer's schema; None for server-sent events.
        parameters: Names of `PARAMETERS`.
    """

    path: str
    summary: str
    schema: str | None
    parameters: Sequence[str] = ()


_TEXT: Final = {"type": "string"}
_MAYBE_TEXT: Final = {"type": ["string", "null"]}
_INSTANT: Final = {"type": "string", "format": "date-time"}
_MAYBE_INSTANT: Final = {"type": ["string", "null"], "format": "date-time"}
_NUMBER: Final = {"type": "number"}
_MAYBE_NUMBER: Final = {"type": ["number", "null"]}
_YES: Final = {"type": "boolean"}
_MAYBE_YES: Final = {"type": ["boolean", "null"]}
_ANYTHING: Final = {"type": "object"}


def _list(of: Mapping[str, Any]) -> dict[str, Any]:
    return {"type": "array", "items": of}


def _object(**fields: Mapping[str, Any]) -> dict[str, Any]:
    return {"type": "object", "properties": fields, "required": [*fields], "additionalProperties": False}


def _words(kinds: Iterable[str]) -> dict[str, Any]:
    return {"type": "string", "enum": [str(kind) for kind in kinds]}


def _ref(name: str) -> dict[str, str]:
    return {"$ref": f"#/components/schemas/{name}"}


def _several(kinds: Iterable[str], what: str) -> dict[str, Any]:
    schema = _list(_words(kinds))
    return {"name": "kind", "in": "query", "description": what, "schema": schema, "style": "form", "explode": True}


PARAMETERS: Final[Mapping[str, Mapping[str, Any]]] = {
    "since": {
        "name": "since", "in": "query", "schema": _INSTANT,
        "description": "What was over before this instant (RFC 3339) is left out; default: 30 days before `until`.",
    },
    "until": {
        "name": "until", "in": "query", "schema": _INSTANT,
        "description": "What began at this instant or later is left out; default: now.",
    },
    "event-kind": _several(EventKind, "Kinds of events; may be repeated; default: all."),
    "measurement-kind": _several(MeasurementKind, "Kinds of measurements; may be repeated; default: all."),
    "notice-state": {
        "name": "state", "in": "query", "schema": _words(PostState), "description": "In this state only; default: all.",
    },
    "uplink": {"name": "uplink", "in": "query", "schema": _TEXT, "description": "Of this uplink only."},
}  # fmt: skip

_OF_EVENTS: Final[dict[str, Any]] = dict.fromkeys(EVENT_FIELDS, _MAYBE_TEXT) | {
    "id": _TEXT, "site": _TEXT, "kind": _words(EventKind), "detail": _ANYTHING,
    "domain": {"enum": [*map(str, Domain), None]}, "interruption_s": _MAYBE_NUMBER, "planned": _YES, "drill": _YES,
    "start": _INSTANT, "start_earliest": _INSTANT, "start_latest": _INSTANT,
    "end": _MAYBE_INSTANT, "end_earliest": _MAYBE_INSTANT, "end_latest": _MAYBE_INSTANT,
}  # fmt: skip
_OF_INCIDENTS: Final[dict[str, Any]] = dict.fromkeys(INCIDENT_FIELDS, _TEXT) | {
    "start": _INSTANT, "start_earliest": _INSTANT, "start_latest": _INSTANT,
    "end": _MAYBE_INSTANT, "end_earliest": _MAYBE_INSTANT, "end_latest": _MAYBE_INSTANT,
    "signs": _list(_TEXT), "uplinks": _list(_TEXT), "cut_off_s": _MAYBE_NUMBER, "planned": _YES, "drill": _YES,
    "timeline": _list(_object(at=_INSTANT, earliest=_INSTANT, latest=_INSTANT, edge=_TEXT, event=_TEXT)),
    "events": _list(_ref("Event")), "beside": _list(_ref("Event")),
}  # fmt: skip
_OF_NOTICES: Final[dict[str, Any]] = dict.fromkeys(TO_ONLOOKERS, _TEXT) | {
    "made": _INSTANT, "next_try": _MAYBE_INSTANT, "settled": _MAYBE_INSTANT, "kind": _words(NoticeKind),
    "state": _words(PostState), "tries": _NUMBER, "uplink": _MAYBE_TEXT,
}  # fmt: skip
SCHEMAS: Final[Mapping[str, Mapping[str, Any]]] = {
    "Event": _object(**_OF_EVENTS),
    "Events": _list(_ref("Event")),
    "Incidents": _list(_object(**_OF_INCIDENTS)),
    "Measurements": _list(_object(at=_INSTANT, uplink=_TEXT, kind=_words(MeasurementKind), result=_ANYTHING)),
    "Notices": _list(_object(**_OF_NOTICES)),
    "Site": _object(
        name=_TEXT, version=_TEXT, timezone=_TEXT, started=_INSTANT, status=_TEXT, reports=_list(_TEXT),
        carrying=_object(uplink=_MAYBE_TEXT, known=_YES, shares=_list(_TEXT)),
        drills=_list(_object(uplink=_TEXT, every_s=_MAYBE_NUMBER, last_unix_s=_MAYBE_NUMBER, overdue=_YES)),
        data=_list(
            _object(uplink=_TEXT, used_bytes=_NUMBER, budget_bytes=_MAYBE_NUMBER, sparing=_YES, purposes=_ANYTHING)
        ),
    ),
    "Uplinks": _list(
        _object(
            name=_TEXT, state=_words(State), since=_MAYBE_INSTANT, carrying=_MAYBE_YES,
            last_minute=_list(
                _object(target=_TEXT, kind=_words(Kind), probes=_NUMBER, delay_s=_MAYBE_NUMBER, loss_ratio=_NUMBER)
            ),
            last_day=_list(_object(state=_words(State), start=_INSTANT, end=_INSTANT)),
            allowance={"oneOf": [_object(per=_words(Per), allowed_s=_NUMBER, left_s=_MAYBE_NUMBER), {"type": "null"}]},
            speed={"type": ["object", "null"]},
        )
    ),
    "Description": _ANYTHING,
    "Error": _object(error=_TEXT),
}  # fmt: skip


def description(routes: Sequence[Described], version: str, keys: Keys, cookie: str) -> dict[str, Any]:
    """Return the OpenAPI description of *routes*.

    Args:
        routes: The API's table.
        version: The program's version.
        keys: What requests have to show.
        cookie: The name of a session's cookie.
    """
    schemes: dict[str, Any] = {}
    if keys.tokens:
        schemes["token"] = {"type": "http", "scheme": "bearer", "description": "For programs."}
    if keys.password is not None:
        schemes["session"] = {"type": "apiKey", "in": "cookie", "name": cookie, "description": "Of who signed in."}
    return {
        "openapi": "3.1.0",
        "info": {"title": "wanwatch", "version": version, "description": "How an office's lines stand. Reads only."},
        "paths": {route.path: {"get": _operation(route, keys)} for route in routes},
        "components": {"schemas": SCHEMAS, "securitySchemes": schemes},
        "security": [{name: []} for name in schemes],
    }


def _operation(route: Described, keys: Keys) -> dict[str, Any]:
    content = (
        {"text/event-stream": {"schema": _TEXT}}
        if route.schema is None
        else {"application/json": {"schema": _ref(route.schema)}}
    )
    wrong = {"400": "A parameter is not as it should be."} if route.parameters else {}
    wrong |= {"401": "A token or a session is needed."} if keys.any else {}
    wrong |= {"429": "Too many wrong tokens; `Retry-After` says for how long."} if keys.tokens else {}
    wrong |= {"503": "The record cannot be read now, or too many are looking on."}
    return {
        "summary": route.summary,
        "operationId": route.path.removeprefix("/api/").partition(".")[0],
        "parameters": [PARAMETERS[name] for name in route.parameters],
        "responses": {"200": {"description": route.summary, "content": content}}
        | {
            code: {"description": text, "content": {"application/json": {"schema": _ref("Error")}}}
            for code, text in wrong.items()
        },
    }
