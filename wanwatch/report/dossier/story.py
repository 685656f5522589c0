"""Story: what a provider's desk reads first. Markup with every name escaped and set apart."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

from markupsafe import Markup

from wanwatch.core.account.timeline import event_span
from wanwatch.core.instants import InstantError, instant_from_text
from wanwatch.core.model import NS_PER_S, SWITCHES, UNPINNED, Domain, Event, EventKind
from wanwatch.report.dossier.values import Dossier
from wanwatch.report.pen import Pen
from wanwatch.report.story import name

RUNGS: Final = {
    "interface": "The measuring machine's own interface",
    "gateway": "The office's gateway",
    "first-hop": "The first router beyond the gateway",
    "resolver": "The provider's resolvers",
    "far-targets": "All targets beyond the provider",
}
"""The rungs of the fault ladder, nearest first, in words that need no glossary."""

PLACE: Final[Mapping[Domain, str]] = {
    Domain.OUR_SIDE: "on the office's own side",
    Domain.GATEWAY: "at the office's gateway",
    Domain.ACCESS_LINE: "on the access line",
    Domain.PROVIDER: "in the provider's network",
    Domain.FAR_END: "at the far end",
    Domain.NAMES: "with names",
}
_WHERE: Final[Mapping[Domain, str]] = {
    Domain.OUR_SIDE: "It broke on the office's own side, so this is not shown to be the line's fault.",
    Domain.GATEWAY: "The office's gateway on this line was silent while the interface behind it was in order, so the"
    " fault lies at the gateway or between it and the measuring machine.",
    Domain.ACCESS_LINE: "The office's gateway answered, and the first router beyond it did not: the fault lies between"
    " the two, on the access line.",
    Domain.PROVIDER: "The first router beyond the office's gateway answered, and nothing behind that router did: the"
    " fault lies in the provider's network.",
    Domain.FAR_END: "The provider's resolvers answered; only the far targets did not.",
    Domain.NAMES: "Addresses answered and names did not resolve.",
}


@dataclass(frozen=True, slots=True)
class Check:
    """Something that could have been at fault on the office's side.

    Attributes:
        name: What was looked at.
        holds: True: it was in order; False: it was not; None: nobody can tell.
        words: The evidence in a sentence.
    """

    name: str
    holds: bool | None
    words: Markup


def say(text: str, *parts: object) -> Markup:
    """Put escaped parts into one of our own sentences."""
    return Markup(text).format(*parts)  # noqa: S704 - the text is this package's own, and every part is escaped


def headline(dossier: Dossier) -> Markup:
    """Say how long the line was down, and where it broke if that is known."""
    outage = dossier.outage
    where = f", {PLACE[outage.domain]}" if outage.domain else ""
    line, length = name(outage.uplink or ""), dossier.pen.duration(dossier.down.length_ns)
    if outage.end is None:
        return say("{} has been down for {} and still is{}.", line, length, where)
    return say("{} was down for {}{}.", line, length, where)


def where(dossier: Dossier) -> Markup:
    """Say in words what the ladder shows."""
    if dossier.outage.domain:
        return Markup(_WHERE[dossier.outage.domain])  # noqa: S704 - our own text
    may_be = [PLACE[Domain(word)] for word in _texts(dossier, "may_be") if word in _DOMAINS]
    if not may_be:
        return Markup("From the office it cannot be told where it broke.")
    return say("From the office it cannot be told apart whether it broke {}.", " or ".join(may_be))


def ladder(dossier: Dossier) -> list[Mapping[str, Any]]:
    """Return the rungs as they were stored, nearest first; none if there is no ladder."""
    found = dossier.outage.detail.get("ladder")
    rungs = found if isinstance(found, list) else []
    return [rung for rung in rungs if isinstance(rung, dict) and rung.get("rung") in RUNGS]


def rung_instant(text: object) -> int | None:
    """Return a rung's instant in Unix nanoseconds, None for none."""
    try:
        return instant_from_text(text) if isinstance(text, str) else None
    except InstantError:
        return None


def checks(dossier: Dossier) -> list[Check]:
    """Say for everything on the office's side whether it was in order."""
    said = {rung["rung"]: rung.get("said") for rung in ladder(dossier)}
    return [_program(dossier), _interface(said.get("interface")), _gateway(said.get("gateway")), *_others(dossier)]


def happening(event: Event, dossier: Dossier) -> Markup:
    """Say what else happened."""
    length = dossier.pen.duration(event_span(event, dossier.now_unix_ns).length_ns)
    return _SAY.get(event.kind, _plain)(event, length, dossier.pen)


def _program(dossier: Dossier) -> Check:
    if any(event.kind is EventKind.PIN_LOST and event.uplink == dossier.outage.uplink for event in dossier.around):
        words = "Around that time the probes of this line were seen to leave by another one."
        return Check("Probes took this line", holds=False, words=Markup(words))  # noqa: S704 - our own text
    words = "without a gap from the first bound of the outage to the last"
    if dossier.watched:
        return Check("Measuring program", holds=True, words=say("It ran {}.", words))
    return Check("Measuring program", holds=None, words=say("It did not run {}.", words))


def _interface(said: object) -> Check:
    holds, words = {
        "answered": (True, "It had carrier and an address while the line was silent, as the kernel tells."),
        "silent": (False, "It had no carrier or no address, or probes could not leave by it."),
    }.get(str(said), (None, "Nothing was known of it."))
    return Check("Interface", holds=holds, words=Markup(words))  # noqa: S704 - our own text


def _gateway(said: object) -> Check:
    holds, words = {
        "answered": (True, "It answered while the targets beyond it were silent."),
        "silent": (False, "It had answered before, and was silent."),
    }.get(str(said), (None, "It is not asked on this line, or never answers probes."))
    return Check("Gateway", holds=holds, words=Markup(words))  # noqa: S704 - our own text


def _others(dossier: Dossier) -> Iterator[Check]:
    """Each other line that the same machine asked meanwhile: if it answered, the machine was in order."""
    _, during, _ = dossier.parts()
    for lane in dossier.lanes:
        if lane.name in {dossier.outage.uplink, UNPINNED}:
            continue
        told = [trace.tally(during) for trace in lane.of_targets()]
        asked, answered = sum(t.asked for t in told), sum(t.answered for t in told)
        if asked:
            ending = "so the machine itself was in order" if answered else "so the trouble may be common to all lines"
            text = "Through {} the same machine got {} answers to {} probes meanwhile, {}."
            words = say(text, name(lane.name), dossier.pen.count(answered), dossier.pen.count(asked), ending)
            yield Check("Another line", holds=answered > 0, words=words)


def _texts(dossier: Dossier, key: str) -> list[str]:
    found = dossier.outage.detail.get(key)
    return [str(part) for part in found] if isinstance(found, list) else []


def _plain(event: Event, length: str, _: Pen) -> Markup:
    who = name(event.uplink) if event.uplink and event.uplink != UNPINNED else Markup("the site")
    going_on = "still going on" if event.end is None else length
    return say("{}: {}, {}", who, event.kind.value.replace("-", " "), going_on)


def _switch(event: Event, _: str, pen: Pen) -> Markup:
    source = name(event.from_uplink) if event.from_uplink else Markup("nowhere")
    taken = name(event.to_uplink) if event.to_uplink else Markup("nowhere")
    cut = "not observed" if event.interruption_s is None else pen.duration(round(event.interruption_s * NS_PER_S))
    kind = event.kind.value.replace("-", " ")
    by_kind = "; ".join([cut, *pen.cut_off(event)])
    return say("{}: ordinary traffic moved from {} to {}; people cut off: {}", kind, source, taken, by_kind)


def _step(event: Event, _: str, pen: Pen) -> Markup:
    return say("the wall clock was stepped by {} s", pen.figures_in(str(event.detail.get("step_s", "?"))))


def _planned(event: Event, length: str, pen: Pen) -> Markup:
    late = "afterwards" if event.detail.get("announced") == "afterwards" else "beforehand"
    return say("{}, announced {}: {}", _plain(event, length, pen), late, name(str(event.detail.get("why", ""))))


_SAY: Final[Mapping[EventKind, Callable[[Event, str, Pen], Markup]]] = {
    **dict.fromkeys(SWITCHES, _switch),
    EventKind.CLOCK_STEP: _step,
    EventKind.PLANNED_WORK: _planned,
}
_DOMAINS: Final = frozenset(domain.value for domain in Domain)
