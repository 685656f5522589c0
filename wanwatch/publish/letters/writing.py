"""Letters: a notice in words. Names may hold anything; they are set apart, and nothing breaks a line but we."""

import shlex
from collections.abc import Callable, Iterable, Iterator, Mapping
from types import MappingProxyType
from typing import Final, NamedTuple

from wanwatch.core.account.calendar import local_time
from wanwatch.core.apart import one_line
from wanwatch.core.incident import Edge, Entry, Incident, Words, phrase, sentence
from wanwatch.core.incident.joining import BESIDE
from wanwatch.core.lengths import duration
from wanwatch.core.model import Bounds, Event, EventKind
from wanwatch.core.notices import Attachment, Case, Kind, Letter, Notice
from wanwatch.core.notices.case import CLOSING, over_ns
from wanwatch.core.notices.wanted import REPORT_PREFIX
from wanwatch.core.planned import windows_of
from wanwatch.publish.incidents import time_line
from wanwatch.publish.letters.advice import advice
from wanwatch.publish.letters.facts import facts
from wanwatch.publish.letters.office import Office
from wanwatch.publish.letters.plain import clipped, for_people, shown_instant, shown_length, shown_name
from wanwatch.publish.words import WHERE
from wanwatch.publish.words import sentence as event_sentence

MOST_OF_SUBJECT: Final = 140
MOST_OF_SITE: Final = 40


class Lead(NamedTuple):
    """How a kind of notice begins: its subject, and its text."""

    subject: str
    text: str


LEADS: Final[Mapping[Kind, Lead]] = {
    Kind.BEGAN: Lead("", ""),
    Kind.WORSE: Lead("worse: ", "It has become worse: "),
    Kind.BETTER: Lead("better: ", "It is better, and not over: "),
    Kind.REMINDER: Lead("still: ", "It goes on: "),
    Kind.ENDED: Lead("over: ", "It is over: "),
    Kind.AGAIN: Lead("again: ", "It was told as over, and has come again: "),
    Kind.PASSED: Lead("passed: ", "It began and is over: "),
}
REST: Final = "wanwatch events --incidents --json has all"
PARTLY_OVER: Final = "What you asked to be told of is over, though something of the incident goes on: "


def write(
    notice: Notice, cases: Iterable[Case], office: Office, reports: Mapping[str, Attachment] = MappingProxyType({})
) -> Letter:
    """Return the letter of a notice.

    Args:
        notice: The notice.
        cases: The cases that it was made from.
        office: The office.
        reports: By month, such as `2026-10`, the file to send with a notice of its report.
    """
    known = list(cases)
    parts = [write(part, known, office, reports) for part in notice.parts]
    case = next((case for case in known if notice.about in case.names()), None)
    what, text = _several(parts) if parts else _WRITERS.get(notice.kind, _told)(notice, case, office)
    subject = clipped(f"{shown_name(office.name, MOST_OF_SITE)}: {what}", MOST_OF_SUBJECT)
    report = reports.get(notice.about.removeprefix(REPORT_PREFIX)) if notice.kind is Kind.REPORT else None
    told = facts(notice, subject, text, case=case, parts=[part.facts for part in parts], report=report)
    attached = next((part.attachment for part in parts if part.attachment is not None), report)
    return Letter(notice.id, notice.to, subject=subject, text=text, facts=told, attachment=attached)


def _told(notice: Notice, case: Case | None, office: Office) -> tuple[str, str]:
    assert case is not None  # noqa: S101 - notices are made from cases
    lead, closing = LEADS[notice.kind], notice.kind in CLOSING
    one = for_people(case.incident)
    said = event_sentence(one.lead) if case.single else sentence(one, WORDS)
    begins = PARTLY_OVER if closing and one.end is None else lead.text
    providers = {line: shown_name(provider) for line, provider in office.providers.items()}
    lines = [
        f"{begins}{said}.",
        "",
        *_facts(notice, one, office),
        "",
        "What to do:",
        *(f"- {text}" for text in advice(case, providers, over=closing)),
        "",
        *([] if case.single else ["How it went:", *time_line(one, office.zone, WORDS, REST), ""]),
        *_more(case),
    ]
    return f"{lead.subject}{said.partition('; ')[0]}{_mark(notice, case)}", "\n".join(lines) + "\n"


def _mark(notice: Notice, case: Case) -> str:
    """Whether it was expected: said in the subject, unless it has outlasted what was announced."""
    lead = case.incident.lead
    windows = [window.end for window in windows_of(lead, case.incident.beside) if window.end is not None]
    on_purpose = "a drill" if lead.drill else "planned work" if lead.planned else None
    if on_purpose is None:
        return ""
    outlasted = windows and notice.kind not in CLOSING and max(map(_estimate, windows)) < notice.made_unix_ns
    return f" (after {on_purpose})" if outlasted else f" (in {on_purpose})"


def _facts(notice: Notice, one: Incident, office: Office) -> Iterator[str]:
    yield f"Site: {shown_name(office.name)}"
    if notice.lines:
        yield f"In trouble: {', '.join(shown_name(line) if line else 'the site' for line in notice.lines)}"
    yield f"Began: {shown_instant(one.start, office.zone)}"
    lasting = [event for event in one.events if over_ns(event, notice.made_unix_ns) is None]
    if one.end is not None:
        yield f"{'Announced until' if lasting else 'Over'}: {shown_instant(one.end, office.zone)}"
    if one.end is not None and not lasting:
        yield f"Lasted: {shown_length(one.start, one.end.estimate_unix_ns)}"
    for event in lasting:
        what = f"{shown_name(event.uplink) if event.uplink else 'the site'}: {_phrase(event)}"
        since, length = shown_instant(event.start, office.zone), shown_length(event.start, notice.made_unix_ns)
        yield f"Goes on: {what}, since {since}, so far for {length}"
    for line, where in dict.fromkeys((event.uplink, event.domain) for event in one.events if event not in lasting):
        if where is not None:
            yield f"Where {shown_name(line) if line else 'it'} broke: {WHERE[where]}"
    if one.lead.kind not in BESIDE:
        said = "not known" if one.cut_off_s is None else f"for {duration(one.cut_off_s)} at least"
        yield f"People were cut off: {said}"


def _phrase(event: Event) -> str:
    return phrase(Entry(event.start, Edge.BEGAN, event), WORDS)


def _more(case: Case) -> Iterator[str]:
    """Where there is more to read; what is to be typed is quoted for the shell."""
    yield f"Id: {shown_name(case.id)}"
    yield "More, on the machine that watches: wanwatch events --incidents"
    outages = [event.id for event in case.events if event.kind is EventKind.OUTAGE and event.end]
    if outages:
        yield f"Evidence for a fault ticket: wanwatch dossier {shlex.quote(one_line(outages[-1]))} --out ticket.html"


def _report(notice: Notice, _case: Case | None, office: Office) -> tuple[str, str]:
    month = notice.about.removeprefix(REPORT_PREFIX)
    what = f"The report of {month} of {shown_name(office.name)} is written."
    return f"report of {month}", f"{what}\nIt lies beside the record, in `reports`, too.\n"


def _test(notice: Notice, _case: Case | None, office: Office) -> tuple[str, str]:
    when = local_time(notice.made_unix_ns, office.zone).isoformat(sep=" ", timespec="seconds")
    text = f"Somebody asked at {when} whether notices of {shown_name(office.name)} arrive. Nothing has happened.\n"
    return "a test, nothing has happened", text


_WRITERS: Final[Mapping[Kind, Callable[[Notice, Case | None, Office], tuple[str, str]]]] = {
    Kind.REPORT: _report,
    Kind.TEST: _test,
}


def _several(parts: list[Letter]) -> tuple[str, str]:
    subjects = [part.subject.partition(": ")[2] for part in parts]
    listed = [f"{number}. {subject}" for number, subject in enumerate(subjects, 1)]
    head = f"{len(parts)} notices in one, as the hour's limit is reached:"
    rule = "\n" + "-" * 60 + "\n\n"
    return f"{len(parts)} notices: {subjects[0]}, and more", "\n".join([head, *listed, ""]) + "".join(
        rule + part.text for part in parts
    )


def _estimate(bounds: Bounds) -> int:
    return bounds.estimate_unix_ns


WORDS: Final = Words(name=str, length=duration, place=WHERE)
"""Names are set apart in the events already."""
