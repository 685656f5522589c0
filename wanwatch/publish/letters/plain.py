"""Names, instants and events as letters write them: nothing in them breaks a line or turns what stands around them."""

from dataclasses import replace
from datetime import tzinfo

from wanwatch.core.account.calendar import local_time
from wanwatch.core.apart import apart, event_apart, one_line
from wanwatch.core.incident import Incident
from wanwatch.core.lengths import duration
from wanwatch.core.model import NS_PER_S, Bounds, Event
from wanwatch.core.shown import shown_event

_OPENS, _CLOSES = "\u2068", "\u2069"


def clipped(text: str, most: int) -> str:
    """Return *text* with at most so many characters; what is set apart stays apart."""
    if len(text) <= most:
        return text
    cut = text[: most - 2].rstrip() + "…"
    return cut + _CLOSES if cut.count(_OPENS) > cut.count(_CLOSES) else cut


def for_people(one: Incident) -> Incident:
    """Return an incident whose names are set apart, and whose detail can neither break a line nor tell a key."""
    return replace(
        one, events=tuple(map(_event_for_people, one.events)), beside=tuple(map(_event_for_people, one.beside))
    )


def _event_for_people(event: Event) -> Event:
    shown = shown_event(event)
    detail = {key: one_line(fact) if isinstance(fact, str) else fact for key, fact in shown.detail.items()}
    return event_apart(
        replace(
            shown,
            detail=detail,
            uplink=_maybe(event.uplink),
            from_uplink=_maybe(event.from_uplink),
            to_uplink=_maybe(event.to_uplink),
        )
    )


def _maybe(name: str | None) -> str | None:
    return None if name is None else one_line(name)


def shown_name(name: str, most: int | None = None) -> str:
    """Return a name for use in a sentence or on a line, with at most so many letters."""
    line = one_line(name)
    return apart(line if most is None else clipped(line, most))


def shown_instant(bounds: Bounds, zone: tzinfo) -> str:
    """Return the instant to the tenth, and between which two observations it surely lies."""
    shown = local_time(bounds.estimate_unix_ns, zone)
    tenth = shown.microsecond // 100_000
    at = f"{shown:%Y-%m-%d %H:%M:%S}.{tenth} {shown.isoformat()[-6:]}"
    first, last = (local_time(at_ns, zone) for at_ns in (bounds.earliest_unix_ns, bounds.latest_unix_ns))
    if bounds.earliest_unix_ns == bounds.latest_unix_ns:
        return at
    between = " and ".join(end.time().isoformat("milliseconds") for end in (first, last))
    return f"{at} (surely between {between})"


def shown_length(start: Bounds, until_unix_ns: int) -> str:
    """Return how long it is from a begin to an instant; nothing if that lies before it."""
    return duration(max(0, until_unix_ns - start.estimate_unix_ns) / NS_PER_S)
