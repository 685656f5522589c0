"""Events in plain sentences, for the log, the terminal and notices."""

from collections.abc import Callable, Mapping
from typing import Final

from wanwatch.core.cut_off import by_kind
from wanwatch.core.drill import DONE, About, Verdict
from wanwatch.core.lengths import duration
from wanwatch.core.model import NS_PER_S, Domain, Event, EventKind, Json
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


def _end(event: Event) -> str:
    if event.end is None:
        return "still going on"
    return f"lasted {_length(event)}"


def _length(event: Event) -> str:
    end = event.end or event.start
    return duration((end.estimate_unix_ns - event.start.estimate_unix_ns) / NS_PER_S)


def _trouble(what: str) -> Callable[[Event], str]:
    def say(event: Event) -> str:
        of_names = event.kind is EventKind.NAMES_FAILURE  # then "with names only" is said already
        where = f" {WHERE[event.domain]}" if event.domain and not of_names else ""
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
    late = " (announced afterwards)" if event.detail.get("announced") == AFTERWARDS else ""
    return f"{event.uplink or 'the site'}: planned work{late} for {_length(event)}: {event.detail.get('why', '?')}"


def _drill(event: Event) -> str:
    """What was asked of a drill and answered, in a word each, or why there are no answers; the record has the rest."""
    told = f"{event.uplink}: failover drill"
    if event.end is None:
        return f"{told}, still going on"
    if event.detail.get("outcome") != DONE:
        return f"{told} given up: {event.detail.get('why', 'nobody knows why')}"
    found = event.detail.get("answers")
    answers = [answer for answer in found if isinstance(answer, dict)] if isinstance(found, list) else []
    says = [f"{answer['about']} {str(answer['answer']).replace('-', ' ')}" for answer in answers if _by_word(answer)]
    says += [f"cut off {answer['says']}" for answer in answers if answer["about"] == About.CUT_OFF]
    return f"{told} for {_length(event)}: {', '.join(says)}"


def _by_word(answer: Mapping[str, Json]) -> bool:
    return answer["answer"] != Verdict.MEASURED and answer["about"] != About.CUT_OFF


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
    EventKind.DRILL: _drill,
    EventKind.PLANNED_WORK: _planned_work,
}


def sentence(event: Event) -> str:
    """Say what an event is, without its instants, and whether it was planned or belongs to a drill."""
    drill = ", in a drill" if event.drill and event.kind is not EventKind.DRILL else ""
    return _SAY[event.kind](event) + (", in planned work" if event.planned else "") + drill
