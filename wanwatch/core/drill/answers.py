"""What a drill showed: one answer to each question, from the judge's events and the samples of the second line.

Nothing is claimed that was not measured: a question without evidence is answered "not measured", never "yes".

Source: the questions and `WORKS` are common practice, with no published source.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from fractions import Fraction
from typing import Final

from wanwatch.core.drill.programme import Drill, Step, Word
from wanwatch.core.instants import instant_text
from wanwatch.core.lengths import duration
from wanwatch.core.model import NS_PER_S, SWITCHES, Event, EventKind, Json

WORKS: Final = Fraction(9, 10)
"""Names, or new connections, work if at least this share of those tried on the second line came to something."""


class Verdict(StrEnum):
    """The answer to a question of a drill; `MEASURED` where it asks how much and nobody set a limit."""

    YES = "yes"
    NO = "no"
    MEASURED = "measured"
    NOT_MEASURED = "not-measured"


class About(StrEnum):
    """What is asked of a drill."""

    MOVED = "moved"
    CUT_OFF = "cut-off"
    NAMES = "names"
    CONNECTIONS = "connections"
    HELD = "held"
    SPEED = "speed"
    BACK = "back"


QUESTIONS: Final[Mapping[About, str]] = {
    About.MOVED: "Did traffic move to the second line?",
    About.CUT_OFF: "How long were people cut off?",
    About.NAMES: "Did names resolve on the second line?",
    About.CONNECTIONS: "Did new connections work on the second line?",
    About.HELD: "Did an open connection outlive the move?",
    About.SPEED: "Is the second line's speed enough for the office?",
    About.BACK: "Did traffic come back?",
}
"""The questions in words, in the order in which a person would ask them."""


@dataclass(frozen=True, slots=True)
class Answer:
    """One question and its answer.

    Attributes:
        about: What was asked.
        verdict: The answer.
        says: The answer in words, with its figures.
        values: Its figures by name, units in the names.
        evidence: Ids of the events it rests on.
    """

    about: About
    verdict: Verdict
    says: str
    values: dict[str, Json] = field(default_factory=dict)
    evidence: tuple[str, ...] = ()

    @property
    def question(self) -> str:
        """The question in words."""
        return QUESTIONS[self.about]


@dataclass(frozen=True, slots=True)
class Tally:
    """Probes of one sort that were sent while traffic was on the second line.

    Attributes:
        answered: How many were answered.
        asked: How many were sent; at least 1.
        ordinary: Whether they went the way of ordinary traffic; else they were pinned to the second line.
    """

    answered: int
    asked: int
    ordinary: bool


@dataclass(frozen=True, slots=True)
class Speed:
    """A speed test of the second line.

    Attributes:
        bps: Payload bits a second from the internet to the office.
        counts: Whether the line alone limited it; else the line may be faster.
        at_unix_ns: When it was taken.
    """

    bps: float
    counts: bool
    at_unix_ns: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """What the record holds of a drill.

    Attributes:
        events: The events of its time.
        names: What came of asking resolvers; None if nothing was asked.
        connections: What came of new connections; likewise.
        needs_bps: The speed that the office needs; None if that is not stated.
        speed: The latest speed test of the second line, in the drill or within a month before it; None without one.
    """

    events: Sequence[Event] = ()
    names: Tally | None = None
    connections: Tally | None = None
    needs_bps: int | None = None
    speed: Speed | None = None


def answers(drill: Drill, evidence: Evidence) -> list[Answer]:
    """Return the answers to all questions, in the order in which a person would ask them."""
    return [
        _moved(drill, evidence),
        _cut_off(drill, evidence),
        _worked(About.NAMES, "questions", drill, evidence.names),
        _worked(About.CONNECTIONS, "attempts", drill, evidence.connections),
        _held(drill, evidence),
        _speed(evidence),
        _back(drill, evidence),
    ]


def settled(drill: Drill, events: Sequence[Event]) -> bool:
    """Return whether the record holds the judge's last word of all that was seen to happen."""
    outage = _outage(drill, events)
    waits = [outage is not None and outage.end is not None]
    if drill.second is not None:
        waits.append(_timed(_away(drill, events)))
        entered = drill.when(Step.SETTLING)
        if entered is not None and entered.word is Word.BACK:
            waits.append(_timed(_home(drill, events)))
    return all(waits)


def _timed(switch: Event | None) -> bool:
    return switch is not None and switch.end is not None


def _outage(drill: Drill, events: Sequence[Event]) -> Event | None:
    kinds = {EventKind.OUTAGE, EventKind.UNOBSERVED}
    return next((e for e in events if e.kind in kinds and e.uplink == drill.uplink), None)


def _away(drill: Drill, events: Sequence[Event]) -> Event | None:
    """The switch that took traffic to the second line: where all was dark between, the one that ended the dark."""
    return next((e for e in events if e.kind in SWITCHES and e.to_uplink == drill.second), None)


def _home(drill: Drill, events: Sequence[Event]) -> Event | None:
    return next((e for e in reversed(events) if e.kind in SWITCHES and e.to_uplink == drill.uplink), None)


def _ids(*events: Event | None) -> tuple[str, ...]:
    return tuple(event.id for event in events if event is not None)


def _moved(drill: Drill, evidence: Evidence) -> Answer:
    about = About.MOVED
    outage, away = _outage(drill, evidence.events), _away(drill, evidence.events)
    if drill.second is None:
        return _did_not_move(about, drill, _ids(outage))
    if away is None or outage is None:
        return Answer(about, Verdict.YES, f"to {drill.second}; when exactly was not observed", {"to": drill.second})
    arrived = away.end or away.start
    after_s = max(0, arrived.estimate_unix_ns - outage.start.estimate_unix_ns) / NS_PER_S
    values: dict[str, Json] = {"to": drill.second, "after_s": after_s}
    says = f"to {drill.second}, {duration(after_s)} after the line went down"
    return Answer(about, Verdict.YES, says, values, _ids(outage, away))


def _did_not_move(about: About, drill: Drill, evidence: tuple[str, ...]) -> Answer:
    returned = drill.when(Step.RETURN)
    if returned is not None and returned.word is Word.LATE and returned.view.known:
        waited_s = drill.patience.move_ns / NS_PER_S
        stayed = f"it stayed on {returned.view.carrying}" if returned.view.carrying else "no line carried it"
        says = f"not within {duration(waited_s)}: {stayed}"
        return Answer(about, Verdict.NO, says, {"waited_s": waited_s}, evidence)
    homing = drill.when(Step.HOMING)
    early = homing is not None and homing.word is Word.UP and returned is None
    says = "the line came back before traffic moved" if early else "where traffic went was not seen"
    return Answer(about, Verdict.NOT_MEASURED, says, {}, evidence)


def _cut_off(drill: Drill, evidence: Evidence) -> Answer:
    about = About.CUT_OFF
    away, outage = _away(drill, evidence.events), _outage(drill, evidence.events)
    there = None if away is None or drill.second is None else away.interruption_s
    if there is not None:
        home = _home(drill, evidence.events)
        back = None if home is None else home.interruption_s
        values: dict[str, Json] = {"interruption_s": there, "interruption_back_s": back}
        says = f"{_cut(there)} when it moved" + ("" if back is None else f", {_cut(back)} when it came back")
        return Answer(about, Verdict.MEASURED, says, values, _ids(away, home))
    whole = outage.interruption_s if outage is not None and drill.second is None else None
    if outage is not None and whole is not None:
        says = f"{duration(whole)}, as traffic did not move"
        return Answer(about, Verdict.MEASURED, says, {"interruption_s": whole}, _ids(outage))
    return Answer(about, Verdict.NOT_MEASURED, "the interruption was not observed", {}, _ids(outage))


def _cut(length_s: float) -> str:
    return duration(length_s) if length_s else "not at all"


def _worked(about: About, what: str, drill: Drill, tally: Tally | None) -> Answer:
    if drill.second is None:
        return Answer(about, Verdict.NOT_MEASURED, "traffic was never seen on the second line")
    if tally is None:
        return Answer(about, Verdict.NOT_MEASURED, "nothing of the kind was tried while traffic was there")
    works = Fraction(tally.answered, tally.asked) >= WORKS
    way = "of ordinary traffic" if tally.ordinary else f"pinned to {drill.second}"
    says = f"{tally.answered} of {tally.asked} {what} {way} were answered"
    values: dict[str, Json] = {"answered": tally.answered, "asked": tally.asked, "ordinary": tally.ordinary}
    return Answer(about, Verdict.YES if works else Verdict.NO, says, values)


def _held(drill: Drill, evidence: Evidence) -> Answer:
    about = About.HELD
    away = _away(drill, evidence.events)
    kinds = away.detail.get("interruption") if away is not None and drill.second is not None else None
    held = kinds.get("held") if isinstance(kinds, dict) else None
    survived = held.get("survived") if isinstance(held, dict) else None
    if not isinstance(survived, bool):
        return Answer(about, Verdict.NOT_MEASURED, "no connection was held open across it")
    says = "it went on" if survived else "it broke, as calls and downloads do"
    # That it breaks is how most gateways with address translation are: a fact to know, and no failure of the drill.
    return Answer(about, Verdict.MEASURED, says, {"survived": survived}, _ids(away))


def _speed(evidence: Evidence) -> Answer:
    about = About.SPEED
    needs, found = evidence.needs_bps, evidence.speed
    if needs is None:
        return Answer(about, Verdict.NOT_MEASURED, "what the office needs is not stated: write site.drill_needs")
    wanted: dict[str, Json] = {"needs_bps": needs}
    if found is None:
        says = f"no speed test of it in the last month; the office needs {_rate(needs)}"
        return Answer(about, Verdict.NOT_MEASURED, says, wanted)
    tested = instant_text(found.at_unix_ns)
    says = f"{_rate(found.bps)} by the test of {tested[:10]}; the office needs {_rate(needs)}"
    if found.bps < needs and not found.counts:
        return Answer(about, Verdict.NOT_MEASURED, f"{says}, but not the line held that test up", wanted)
    values: dict[str, Json] = {**wanted, "speed_bps": found.bps, "tested_at": tested}
    return Answer(about, Verdict.YES if found.bps >= needs else Verdict.NO, says, values)


def _rate(bits_per_s: float) -> str:
    return f"{bits_per_s / 1e6:.3g} Mbit/s"


def _back(drill: Drill, evidence: Evidence) -> Answer:
    about = About.BACK
    ended, homing = drill.when(Step.SETTLING), drill.when(Step.HOMING)
    if drill.second is None:
        return Answer(about, Verdict.NOT_MEASURED, "it was not seen to leave")
    if ended is None or homing is None:
        return Answer(about, Verdict.NOT_MEASURED, "the drill ended before it could")
    if ended.word is Word.LATE:
        if not ended.view.known:
            return Answer(about, Verdict.NOT_MEASURED, "where traffic was at the end could not be told")
        waited_s = drill.patience.back_ns / NS_PER_S
        says = f"not within {duration(waited_s)}: it is still on {ended.view.carrying or 'no line'}"
        return Answer(about, Verdict.NO, says, {"waited_s": waited_s})
    return _came_back(about, drill, evidence)


def _came_back(about: About, drill: Drill, evidence: Evidence) -> Answer:
    home, outage = _home(drill, evidence.events), _outage(drill, evidence.events)
    if home is None or outage is None or outage.end is None:
        return Answer(about, Verdict.YES, f"to {drill.uplink}; when exactly was not observed", {}, _ids(outage))
    arrived = home.end or home.start
    after_s = (arrived.estimate_unix_ns - outage.end.estimate_unix_ns) / NS_PER_S
    # A gateway may trust the line sooner than our own first answered probe.
    says = f"to {drill.uplink}, {duration(max(0.0, after_s))} after the line answered again"
    return Answer(about, Verdict.YES, says, {"after_s": after_s}, _ids(outage, home))
