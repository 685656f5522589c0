"""Incidents in plain words: one sentence for the whole, and a phrase for each entry of the time line.

How names, lengths and places are written is the reader's: a terminal and a page differ in that, and in nothing else.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import Final, NamedTuple

from wanwatch.core.incident.joining import Edge, Entry, Incident
from wanwatch.core.incident.pattern import LEAVING, Cause, Sign
from wanwatch.core.model import NS_PER_S, SWITCHES, UNPINNED, Domain, Event, EventKind


class Words(NamedTuple):
    """How a reader writes what is not a sentence.

    Attributes:
        name: A line's name.
        length: A length of time, given in seconds.
        place: Where it broke, as a sentence says it.
    """

    name: Callable[[str], str]
    length: Callable[[float], str]
    place: Mapping[Domain, str]


def sentence(one: Incident, words: Words) -> str:
    """Say what an incident was: its cause, what traffic did, how long people were cut off."""
    told = [_CAUSES[one.cause](one, words), *_clauses(one, words)]
    return "; ".join(told)


def subject(event: Event) -> str | None:
    """Return the line that an event is about; `UNPINNED` for ordinary traffic, None for the site as a whole."""
    return UNPINNED if event.kind in SWITCHES else event.uplink


def folded(entries: Sequence[Entry], most: int) -> tuple[Sequence[Entry], int, Sequence[Entry]]:
    """Return the first entries of a long time line, how many are left out, and the last ones; *most* in all."""
    if len(entries) <= most:
        return entries, 0, ()
    half = most // 2
    return entries[:half], len(entries) - 2 * half, entries[-half:]


def phrase(entry: Entry, words: Words) -> str:
    """Say one entry of a time line, without its instant and its line."""
    event = entry.event
    if entry.edge is Edge.ENDED:
        return _ENDED.get(event.kind, "over").format(words.length(_length_s(event)))
    if event.kind in SWITCHES:
        return _switched(event, words)
    where = f" {words.place[event.domain]}" if event.domain and event.kind in _PLACED else ""
    return _BEGAN[event.kind].format_map(_Facts(event, words)) + where


class _Facts(dict[str, str]):
    """The facts of an event as a phrase names them; they may hold anything, so they are written like names."""

    def __init__(self, event: Event, words: Words) -> None:
        super().__init__({key: words.name(str(fact)) for key, fact in event.detail.items()})

    def __missing__(self, key: str) -> str:
        """What is not known is shown to be so."""
        return "?"


def _clauses(one: Incident, words: Words) -> Iterator[str]:
    if Sign.MOVED_AWAY in one.signs and one.cause is not Cause.SWITCH_ONLY:
        took = _listed((e.to_uplink for e in one.events if e.kind in _AWAY), words)
        yield f"traffic moved to {took} and {'came back' if Sign.CAME_BACK in one.signs else 'has not come back'}"
    if Sign.SECOND_IMPAIRED in one.signs and one.cause is not Cause.LINE_IMPAIRED:
        yield f"{_second(one, words)} worked badly meanwhile"
    if one.cut_off_s:
        yield f"people were cut off for {words.length(one.cut_off_s)}"
    if one.end is None:
        yield "still going on"
    if one.drill or one.planned:
        yield "part of a drill" if one.drill else "in planned work"


def _second(one: Incident, words: Words) -> str:
    left = {event.from_uplink for event in one.events if event.kind in LEAVING}
    return _listed((e.uplink for e in one.events if e.kind is EventKind.IMPAIRMENT and e.uplink not in left), words)


def _down(one: Incident, words: Words) -> str:
    return _troubled(one, EventKind.OUTAGE, ("was down", "is down"), words)


def _impaired(one: Incident, words: Words) -> str:
    return _troubled(one, EventKind.IMPAIRMENT, ("worked badly", "works badly"), words)


def _troubled(one: Incident, kind: EventKind, verbs: tuple[str, str], words: Words) -> str:
    """Each line that had such trouble: how often, how long, and where if that was always one place."""
    by_line: dict[str, list[Event]] = {}
    for event in one.events:
        if event.kind is kind:
            by_line.setdefault(event.uplink or "", []).append(event)
    return ", ".join(_of_line(words.name(line), events, verbs, words) for line, events in by_line.items())


def _of_line(line: str, events: list[Event], verbs: tuple[str, str], words: Words) -> str:
    was, is_now = verbs
    often = "" if len(events) == 1 else f" {len(events)} times"
    domain = events[0].domain if len({event.domain for event in events}) == 1 else None
    where = f" {words.place[domain]}" if domain else ""
    if any(event.end is None for event in events):
        return f"{line} {is_now}{where}"
    in_all = "" if len(events) == 1 else " in all"
    return f"{line} {was}{often}{where} for {words.length(sum(map(_length_s, events)))}{in_all}"


def _together(one: Incident, words: Words) -> str:
    return f"{_lines(one, EventKind.OUTAGE, words)} were down at the same time: {_down(one, words)}"


def _flapping(one: Incident, words: Words) -> str:
    told = _down(one, words) or f"{_lines(one, EventKind.FLAPPING, words) or 'traffic'} went to and fro"
    return f"flapping: {told}"


def _stuck(one: Incident, words: Words) -> str:
    line, down = _lines(one, EventKind.STUCK_FAILOVER, words), _down(one, words)
    stuck = f"traffic stayed on {line}, which was dead, although another line was up"
    return f"{stuck}; {down}" if down else stuck


def _needless(one: Incident, words: Words) -> str:
    left = _listed((e.from_uplink for e in one.events if e.kind is EventKind.NEEDLESS_FAILOVER), words)
    return f"traffic left {left}, which was up"


def _names(one: Incident, words: Words) -> str:
    through = _lines(one, EventKind.NAMES_FAILURE, words)
    return f"names did not resolve through {through}" if through else "names did not resolve"


def _moved(one: Incident, words: Words) -> str:
    ways = dict.fromkeys((event.from_uplink, event.to_uplink) for event in one.events)
    told = (" to ".join(words.name(line) if line else "nowhere" for line in way) for way in ways)
    return f"traffic moved from {', then from '.join(told)}"


_AWAY: Final = frozenset({EventKind.FAILOVER, EventKind.NEEDLESS_FAILOVER})
_CAUSES: Final[Mapping[Cause, Callable[[Incident, Words], str]]] = {
    Cause.LINES_DOWN: _together,
    Cause.STUCK_FAILOVER: _stuck,
    Cause.FLAPPING_LINE: _flapping,
    Cause.LINE_DOWN: _down,
    Cause.NEEDLESS_FAILOVER: _needless,
    Cause.LINE_IMPAIRED: _impaired,
    Cause.NAMES_ONLY: _names,
    Cause.BLACKOUT: lambda one, words: "no line carried traffic",  # noqa: ARG005 - a row like the others
    Cause.SWITCH_ONLY: _moved,
}


def _switched(event: Event, words: Words) -> str:
    source, taken = (words.name(line) if line else "nowhere" for line in (event.from_uplink, event.to_uplink))
    if event.kind is EventKind.BLACKOUT:
        way = f"carried by no line any more, last by {source}"
    elif event.kind is EventKind.RESTORATION:
        return f"carried again, by {taken}"  # the silence is that of the blackout
    else:
        needless = ", although that line was up" if event.kind is EventKind.NEEDLESS_FAILOVER else ""
        way = f"moved from {source} to {taken}{needless}"
    return f"{way}, silent for {words.length(event.interruption_s)}" if event.interruption_s else way


_BEGAN: Final[Mapping[EventKind, str]] = {
    EventKind.OUTAGE: "down",
    EventKind.IMPAIRMENT: "works badly",
    EventKind.NAMES_FAILURE: "names do not resolve",
    EventKind.STUCK_FAILOVER: "traffic stays on this dead line",
    EventKind.FLAPPING: "flapping",
    EventKind.UNOBSERVED: "nobody looks",
    EventKind.PIN_LOST: "the pin does not hold, so this line is not observed",
    EventKind.CLOCK_STEP: "the wall clock was stepped by {step_s} s",
    EventKind.DRILL: "a failover drill",
    EventKind.PLANNED_WORK: "planned work, announced {announced}: {why}",
}
"""With facts of the event's detail where braces name them."""
_PLACED: Final = frozenset({EventKind.OUTAGE, EventKind.IMPAIRMENT})
_ENDED: Final[Mapping[EventKind, str]] = {
    EventKind.OUTAGE: "answers again after {}",
    EventKind.IMPAIRMENT: "works well again after {}",
    EventKind.NAMES_FAILURE: "names resolve again after {}",
    EventKind.STUCK_FAILOVER: "no longer stuck after {}",
    EventKind.FLAPPING: "steady again after {}",
    EventKind.UNOBSERVED: "observed again after {}",
    EventKind.PIN_LOST: "the pin holds again after {}",
}


def _lines(one: Incident, kind: EventKind, words: Words) -> str:
    return _listed((event.uplink for event in one.events if event.kind is kind and event.uplink != UNPINNED), words)


def _listed(lines: Iterable[str | None], words: Words) -> str:
    """Name lines in their order: `fibre`, `fibre and copper`."""
    return " and ".join(words.name(line) for line in dict.fromkeys(lines) if line)


def _length_s(event: Event) -> float:
    return 0.0 if event.end is None else (event.end.estimate_unix_ns - event.start.estimate_unix_ns) / NS_PER_S
