"""Events in plain sentences, for the log, the terminal and notices."""

from collections.abc import Callable, Mapping
from typing import Final

from wanwatch.core.cut_off import by_kind
from wanwatch.core.model import NS_PER_S, Domain, Event, EventKind
from wanwatch.core.planned import AFTERWARDS

WHERE: Final[Mapping[Domain, str]] = {
    Domain.OUR_SIDE: "on our own side",
    Domain.GATEWAY: "at the gateway",
    Domain.ACCESS_LINE: "on the access line",
    Domain.PROVIDER: "in the provider's network",
    Domain.FAR_END: "at the far end only",
    Domain.NAMES: "with names only",
}
"""Where it broke, as a sentence says it."""
_MINUTE_S: Final = 60
_HOUR_S: Final = 3600


def duration(seconds: float) -> str:
    """Say a length of time: `4.2 s`, `3 min 05 s`, `2 h 07 min`."""
    if seconds < _MINUTE_S:
        return f"{seconds:.1f} s"
    whole = round(seconds)
    if whole < _HOUR_S:
        return f"{whole // 60} min {whole % 60:02d} s"
    return f"{whole // 3600} h {whole % 3600 // 60:02d} min"


def _end(event: Event) -> str:
    if event.end is None:
        return "still going on"
    return f"lasted {duration((event.end.estimate_unix_ns - event.start.estimate_unix_ns) / NS_PER_S)}"


def _trouble(what: str) -> Callable[[Event], str]:
    def say(event: Event) -> str:
        where = f" {WHERE[event.domain]}" if event.domain else ""
        return f"{event.uplink or 'the site'}: {what}{where}, {_end(event)}"

    return say


def _interruption(event: Event) -> str:
    if event.interruption_s is None:
        return "the interruption was not observed"
    return f"people were cut off for {duration(event.interruption_s)}"


def _switch(what: str) -> Callable[[Event], str]:
    def say(event: Event) -> str:
        way = f"traffic moved from {event.from_uplink or 'nowhere'} to {event.to_uplink or 'nowhere'}"
        kinds = by_kind(event, duration)
        return f"{what}: {way}{_cause(event)}, {_interruption(event)}" + (f"; {', '.join(kinds)}" if kinds else "")

    return say


_WHY: Final[Mapping[str, str]] = {
    "line-down": "as that line was down",
    "line-impaired": "as that line was impaired",
    "by-hand": "by hand",
    "drill": "in a drill",
}


def _cause(event: Event) -> str:
    why = _WHY.get(str(event.detail.get("cause")))
    return f" {why}" if why else ""


def _flapping(event: Event) -> str:
    what = "traffic moves to and fro" if event.uplink is None else f"{event.uplink}: flapping"
    return f"{what}, {event.detail.get('changes', '?')} changes, {_end(event)}"


def _clock_step(event: Event) -> str:
    return f"the wall clock was stepped by {event.detail.get('step_s', '?')} s"


def _unobserved(event: Event) -> str:
    return f"{event.uplink or 'the site'}: nobody was looking, {_end(event)}"


def _pin_lost(event: Event) -> str:
    way = event.detail.get("leaves_by") or "another line"
    fell_back = " like ordinary traffic" if event.detail.get("because") == "default-route" else ""
    return f"{event.uplink}: the pin does not hold, its probes leave by {way}{fell_back}, {_end(event)}"


def _planned_work(event: Event) -> str:
    end = event.end or event.start
    length = duration((end.estimate_unix_ns - event.start.estimate_unix_ns) / NS_PER_S)
    late = " (announced afterwards)" if event.detail.get("announced") == AFTERWARDS else ""
    return f"{event.uplink or 'the site'}: planned work{late} for {length}: {event.detail.get('why', '?')}"


_SAY: Final[Mapping[EventKind, Callable[[Event], str]]] = {
    EventKind.OUTAGE: _trouble("down"),
    EventKind.IMPAIRMENT: _trouble("impaired"),
    EventKind.NAMES_FAILURE: _trouble("names do not resolve"),
    EventKind.FAILOVER: _switch("failover"),
    EventKind.FAILBACK: _switch("failback"),
    EventKind.BLACKOUT: lambda event: f"blackout: no line carries traffic any more, last was {event.from_uplink}",
    EventKind.RESTORATION: _switch("restoration"),
    EventKind.NEEDLESS_FAILOVER: _switch("needless failover"),
    EventKind.STUCK_FAILOVER: _trouble("stuck failover, traffic has not left this dead line"),
    EventKind.FLAPPING: _flapping,
    EventKind.UNOBSERVED: _unobserved,
    EventKind.CLOCK_STEP: _clock_step,
    EventKind.PIN_LOST: _pin_lost,
    EventKind.DRILL: _trouble("failover drill"),
    EventKind.PLANNED_WORK: _planned_work,
}


def sentence(event: Event) -> str:
    """Say what an event is, without its instants, and whether it was planned."""
    return _SAY[event.kind](event) + (", in planned work" if event.planned else "")
