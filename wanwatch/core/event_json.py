"""Events as JSON objects: the form that commands print, notices carry and other programs read.

Sources:     RFC 8259 (JSON); RFC 3339 (instants).
Departures:  instants are cut to whole microseconds, so an event read back can differ from the stored one below that.
"""

from collections.abc import Callable, Mapping
from typing import Final, TypeVar, cast

from wanwatch.core.errors import WanwatchError
from wanwatch.core.instants import InstantError, instant_from_text, instant_text
from wanwatch.core.model import Bounds, Domain, Event, EventKind, Json

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

_T = TypeVar("_T")


class EventJsonError(WanwatchError):
    """A JSON object that is no event.

    Attributes:
        field: The field at fault.
        value: What it holds.
    """

    def __init__(self, field: str, value: object, reason: str) -> None:
        self.field = field
        self.value = value
        super().__init__(f"event field {field!r}: {value!r}: {reason}; give an event as `wanwatch events --json` does")


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


def event_from_json(given: Mapping[str, Json]) -> Event:
    """Return the event that `event_to_json` made *given* of.

    Raises:
        EventJsonError: A field is missing, unknown, or holds what it cannot.
    """
    for name in sorted(given.keys() ^ set(FIELDS)):
        raise EventJsonError(name, given.get(name), "unknown field" if name in given else "missing")
    return Event(
        id=_typed(given, "id", str),
        site=_typed(given, "site", str),
        kind=_made(given, "kind", EventKind),
        uplink=_maybe(given, "uplink", str),
        start=_bounds(given, "start"),
        end=None if given["end"] is None else _bounds(given, "end"),
        domain=None if given["domain"] is None else _made(given, "domain", Domain),
        from_uplink=_maybe(given, "from", str),
        to_uplink=_maybe(given, "to", str),
        interruption_s=_seconds(given, "interruption_s"),
        planned=_typed(given, "planned", bool),
        drill=_typed(given, "drill", bool),
        detail=cast("dict[str, Json]", _typed(given, "detail", dict)),
    )


def _typed(given: Mapping[str, Json], name: str, kind: type[_T]) -> _T:
    value = given[name]
    if not isinstance(value, kind):
        raise EventJsonError(name, value, f"not a {kind.__name__}")
    return value


def _maybe(given: Mapping[str, Json], name: str, kind: type[_T]) -> _T | None:
    return None if given[name] is None else _typed(given, name, kind)


def _seconds(given: Mapping[str, Json], name: str) -> float | None:
    value = given[name]
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise EventJsonError(name, value, "not a number of seconds")
    return float(value)


def _made(given: Mapping[str, Json], name: str, make: Callable[[str], _T]) -> _T:
    text = _typed(given, name, str)
    try:
        return make(text)
    except (ValueError, InstantError) as error:
        raise EventJsonError(name, text, str(error)) from error


def _bounds(given: Mapping[str, Json], name: str) -> Bounds:
    return Bounds(
        estimate_unix_ns=_made(given, name, instant_from_text),
        earliest_unix_ns=_made(given, f"{name}_earliest", instant_from_text),
        latest_unix_ns=_made(given, f"{name}_latest", instant_from_text),
    )
