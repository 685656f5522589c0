"""Story: what the first page says to whoever pays for the lines: kept or not, what happened, what to do.

Sentences are markup with every name escaped and set apart (`<bdi>`), so that no name can change the direction of the
text around it.
"""

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Final

from markupsafe import Markup

from wanwatch.core.account.clauses import Because, Promise, Verdict
from wanwatch.core.account.spans import total_ns
from wanwatch.core.account.timeline import event_span, spans_of
from wanwatch.core.incident import Cause, Entry, Incident, Words, phrase, sentence
from wanwatch.core.model import NS_PER_S, Domain, Event, EventKind
from wanwatch.report.grounds import limit_value
from wanwatch.report.pen import Pen
from wanwatch.report.subject import Contract
from wanwatch.report.values import MonthReport, UplinkReport
from wanwatch.report.verdicts import ClauseResult, Part, sums
from wanwatch.report.words import PLACE

_CAUSES: Final[Mapping[Cause, str]] = {
    Cause.LINES_DOWN: "several lines down at once",
    Cause.STUCK_FAILOVER: "a stuck failover",
    Cause.FLAPPING_LINE: "flapping",
    Cause.LINE_DOWN: "a line down",
    Cause.NEEDLESS_FAILOVER: "a needless failover",
    Cause.LINE_IMPAIRED: "a line that worked badly",
    Cause.NAMES_ONLY: "names only",
    Cause.BLACKOUT: "no line carrying",
    Cause.SWITCH_ONLY: "a switch alone",
}
_TALLIES: Final = {1: "once", 2: "twice"}


def name(text: str) -> Markup:
    """Return a name of the configuration, set apart from the text around it."""
    return _say("<bdi>{}</bdi>", text)


def _say(text: str, *parts: object) -> Markup:
    return Markup(text).format(*parts)  # noqa: S704 - the text is this file's own, and every part is escaped


def headline(report: MonthReport) -> Markup:
    """Say in one sentence whether the lines keep their contracts."""
    if not any(uplink.times.observed_ns for uplink in report.uplinks):
        return _say("Nothing was observed in this {}.", report.of.word)
    so_far = Markup(" so far") if report.running else Markup("")
    verdict = report.verdict
    if verdict is None:
        return Markup("No contract is on file. This is what the lines did.")
    lines = [uplink.name for uplink in report.uplinks if uplink.verdict is verdict]
    said, their = _names(lines), "its contract" if len(lines) == 1 else "their contracts"
    if verdict is Verdict.MET:
        every = len(lines) == len(report.uplinks)
        return _say("{} kept {}{}.", "Every line" if every else said, "its contract" if every else their, so_far)
    if verdict is Verdict.BREACHED:
        return _say("{} broke {}.", said, their)
    remain = "remains" if len(lines) == 1 else "remain"
    ending = "cannot be decided yet" if report.running else f"{remain} undecided"
    return _say("No breach is proved{}; {} {}.", so_far, said, ending)


def happened(report: MonthReport) -> list[Markup]:
    """Say what happened, most important first."""
    return [
        *_cut_off(report),
        *(sentence for uplink in report.uplinks for sentence in _line(report, uplink)),
        *_switching(report),
        *_incidents(report),
    ]


def to_do(report: MonthReport) -> list[Markup]:
    """Say what there is to do about it; a single sentence that says so if there is nothing."""
    found = [sentence for uplink in report.uplinks for sentence in _line_to_do(report, uplink)]
    stuck = _of_kind(report.site_events, EventKind.STUCK_FAILOVER)
    needless = _of_kind(report.switches, EventKind.NEEDLESS_FAILOVER)
    if stuck:
        text = "Check the gateway's failover: traffic stayed on a dead line {} although another was up."
        found.append(_say(text, tally(len(stuck))))
    if needless:
        text = "Check what makes the gateway switch: traffic left a line that was up ({})."
        found.append(_say(text, tally(len(needless))))
    overdue = [name(rehearsal.uplink) for rehearsal in report.rehearsals if rehearsal.overdue(report.now_unix_ns)]
    found += [_say("Rehearse the failover of {} (wanwatch drill): it is overdue.", uplink) for uplink in overdue]
    return found or [Markup("Nothing.")]


def incident(one: Incident, pen: Pen, place: Mapping[Domain, str] = PLACE) -> Markup:
    """Say what an incident was, in one sentence; *place* is where it can break, in words for whoever reads it."""
    return Markup(sentence(one, _words(pen, place)))  # noqa: S704 - our own text, with every name escaped by `name`


def happening(entry: Entry, pen: Pen, place: Mapping[Domain, str] = PLACE) -> Markup:
    """Say one entry of an incident's time line."""
    return Markup(phrase(entry, _words(pen, place)))  # noqa: S704 - our own text, with every name escaped by `name`


def rehearsed(report: MonthReport) -> list[Markup]:
    """Say when each line's failover was last rehearsed, and whether that is too long ago."""
    found, pen = [], report.pen
    for rehearsal in report.rehearsals:
        age_ns, every_ns = rehearsal.age_ns(report.now_unix_ns), rehearsal.every_ns
        last = "was never rehearsed" if age_ns is None else f"was last rehearsed {pen.duration(age_ns)} ago"
        asked = "" if every_ns is None else f"; it is to be every {pen.duration(every_ns)}"
        overdue = Markup(" (<strong>overdue</strong>)") if rehearsal.overdue(report.now_unix_ns) else ""
        found.append(_say("The failover of {} {}{}{}.", name(rehearsal.uplink), last, asked, overdue))
    return found


def tally(number: int) -> str:
    """Say how often: once, twice, 3 times."""
    return _TALLIES.get(number, f"{number} times")


def _words(pen: Pen, place: Mapping[Domain, str]) -> Words:
    return Words(name=name, length=lambda seconds: pen.duration(round(seconds * NS_PER_S)), place=place)


def _names(names: Iterable[str]) -> Markup:
    marked = [name(text) for text in names]
    return Markup(", ").join(marked[:-1]) + Markup(" and ") + marked[-1] if len(marked) > 1 else marked[0]


def _of_kind(events: Sequence[Event], kind: EventKind) -> list[Event]:
    return [event for event in events if event.kind is kind]


def _cut_off(report: MonthReport) -> Iterator[Markup]:
    if len(report.uplinks) > 1 and report.all_down_ns:
        yield _say("The office had <strong>no line at all</strong> for {}.", report.pen.duration(report.all_down_ns))


def _line(report: MonthReport, uplink: UplinkReport) -> Iterator[Markup]:
    if uplink.times.observed_ns == 0:
        yield _say("{} was not observed.", name(uplink.name))
        return
    outages = [event for event in uplink.outages if event_span(event, report.now_unix_ns).length_ns]
    if outages:
        text = "{} was down {}, for {} in all; {} began on {}{}."
        longest = max(outages, key=lambda event: event_span(event, report.now_unix_ns).length_ns)
        where = f", {PLACE[longest.domain]}" if longest.domain else ""
        which = "it" if len(outages) == 1 else "the longest"
        begun = report.pen.moment(longest.start.estimate_unix_ns)
        down = report.pen.duration(uplink.times.down_ns)
        yield _say(text, name(uplink.name), tally(len(outages)), down, which, begun, where)
    else:
        yield _say("{} was never seen down.", name(uplink.name))
    if uplink.times.impaired_ns:
        worked = "{} worked badly (impaired) for {}."
        yield _say(worked, name(uplink.name), report.pen.duration(uplink.times.impaired_ns))
    unseen_ns = uplink.times.unobserved_ns - uplink.to_come_ns
    if unseen_ns > 0:
        yield _say("{} went unobserved for {}.", name(uplink.name), report.pen.duration(unseen_ns))


def _switching(report: MonthReport) -> Iterator[Markup]:
    away = [e for e in report.switches if e.kind in {EventKind.FAILOVER, EventKind.NEEDLESS_FAILOVER}]
    # A restoration tells the silence of its blackout once more.
    counted = [e for e in report.switches if e.kind is not EventKind.RESTORATION]
    timed = [e.interruption_s for e in counted if e.interruption_s is not None]
    if away:
        cut = Markup("")
        if timed:
            total, longest = (report.pen.duration(round(s * NS_PER_S)) for s in (sum(timed), max(timed)))
            cut = _say("; people were cut off for {} in all, {} at the longest", total, longest)
        yield _say("Traffic moved to another line {}{}.", tally(len(away)), cut)
    elif len(report.uplinks) > 1:
        yield Markup("Traffic never had to move to another line.")


def _incidents(report: MonthReport) -> Iterator[Markup]:
    if not report.incidents:
        return
    causes = Counter(one.cause for one in report.incidents)
    if len(report.incidents) == 1:
        yield _say("All this was 1 incident, of {}.", _CAUSES[report.incidents[0].cause])
        return
    told = ", ".join(f"{causes[cause]} of {_CAUSES[cause]}" for cause in Cause if cause in causes)
    yield _say("All this was {} incidents: {}.", len(report.incidents), told)


def _line_to_do(report: MonthReport, uplink: UplinkReport) -> Iterator[Markup]:
    for event in uplink.outages:
        if event.end is None and report.running:
            since = report.pen.moment(event.start.estimate_unix_ns)
            yield _say("{} is down since {}: tell its provider.", name(uplink.name), since)
    yield from _to_claim(uplink, report.pen)
    for domains, advice in _ADVICE:
        spans = spans_of((e for e in uplink.outages if e.domain in domains), {EventKind.OUTAGE}, report.now_unix_ns)
        if spans:
            yield advice(uplink, len(spans), report.pen.duration(total_ns(spans)))
    tipped = sum(clause.ruling.because is Because.COULD_TIP for clause in uplink.every_clause)
    if tipped:
        text = "Keep the watching machine running: what went unobserved leaves {} of {} undecided."
        yield _say(text, "1 clause" if tipped == 1 else f"{tipped} clauses", name(uplink.name))


def _to_claim(uplink: UplinkReport, pen: Pen) -> Iterator[Markup]:
    breached = [clause for clause in uplink.clauses if clause.ruling.verdict is Verdict.BREACHED]
    for contract in uplink.contracts:
        if mine := [clause for clause in breached if clause.contract is contract]:
            yield _claim(contract, mine, pen)
        if months := [part for part in uplink.parts if _broke(part, contract)]:
            yield _claim_months(contract, months, pen)
    of_month = [(owed.contract, owed.sure.total) for owed in uplink.credits]
    of_months = [(one.contract, one.sure) for one in sums(uplink.parts)]
    yield from (_credit(contract, total, pen) for contract, total in (*of_month, *of_months) if total)


def _claim(contract: Contract, clauses: Sequence[ClauseResult], pen: Pen) -> Markup:
    said = Markup("; ").join(_breach(clause, pen) for clause in clauses)
    return _say("<strong>Claim from {}</strong>: {}.", _whose(contract), said)


def _breach(clause: ClauseResult, pen: Pen) -> Markup:
    value = limit_value(clause, clause.found.value, pen)
    return _say("{} promised {}, found {}", measure(clause.promise), pen.figures_in(clause.promise.text), value)


def measure(promise: Promise) -> Markup:
    """Say what a promise is about: `delay to near`."""
    of = _say(" to {}", name(promise.target)) if promise.target else Markup("")
    return _say("{}{}", promise.measure.replace("-", " "), of)


def _broke(part: Part, contract: Contract) -> bool:
    return any(c.contract == contract and c.ruling.verdict is Verdict.BREACHED for c in part.clauses)


def _claim_months(contract: Contract, months: Sequence[Part], pen: Pen) -> Markup:
    said = ", ".join(pen.month_in_short(part.name) for part in months)
    return _say("<strong>Claim from {}</strong>: promises were broken in {}.", _whose(contract), said)


def _whose(contract: Contract) -> Markup:
    reference = _say(" ({})", name(contract.reference)) if contract.reference else Markup("")
    return name(contract.provider) + reference


def _credit(contract: Contract, total: Decimal, pen: Pen) -> Markup:
    terms = contract.terms
    assert terms is not None  # noqa: S101 - nothing is owed without terms
    text = "Ask {} for a <strong>credit of {} {}</strong>, reckoned with the clauses."
    return _say(text, name(contract.provider), pen.figures_in(str(total)), terms.currency)


def _own_side(uplink: UplinkReport, outages: int, length: str) -> Markup:
    text = "Look at your own side: {} broke there {}, for {} in all (cable, port or address of this machine)."
    return _say(text, name(uplink.name), tally(outages), length)


def _gateway(uplink: UplinkReport, outages: int, length: str) -> Markup:
    text = "Look at the gateway of {}: it fell silent {}, for {} in all."
    return _say(text, name(uplink.name), tally(outages), length)


def _provider(uplink: UplinkReport, outages: int, length: str) -> Markup:
    text = "Take it up with the provider of {}: it broke on their side {}, for {} in all (make a dossier of it)."
    return _say(text, name(uplink.name), tally(outages), length)


def _nowhere(uplink: UplinkReport, outages: int, length: str) -> Markup:
    text = "Let more be asked on the way out of {}: it broke {}, for {} in all, and nobody can tell where."
    return _say(text, name(uplink.name), tally(outages), length)


_ADVICE: Final[tuple[tuple[frozenset[Domain | None], Callable[[UplinkReport, int, str], Markup]], ...]] = (
    (frozenset({Domain.OUR_SIDE}), _own_side),
    (frozenset({Domain.GATEWAY}), _gateway),
    (frozenset({Domain.ACCESS_LINE, Domain.PROVIDER}), _provider),
    (frozenset({None}), _nowhere),
)
