"""The report as one page: a single file that loads nothing, runs nothing, prints well and can be read on a phone."""

import re
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Final

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from wanwatch import __version__
from wanwatch.core.account import voice
from wanwatch.core.account.calendar import local_time
from wanwatch.core.account.clauses import Promise
from wanwatch.core.account.spans import intersect, total_ns
from wanwatch.core.account.timeline import event_span
from wanwatch.core.incident import Entry, Incident, folded, subject
from wanwatch.core.model import NS_PER_S, UNPINNED, Event, Span, State
from wanwatch.report import charts, grounds, months_page, speed_page, story, words
from wanwatch.report.evidence import evidence
from wanwatch.report.pen import Pen
from wanwatch.report.subject import Contract
from wanwatch.report.values import MonthReport, UplinkReport
from wanwatch.report.verdicts import ClauseResult, Owed, Part, sums

_NO_BREAK: Final = "\N{NO-BREAK SPACE}"
_UNIT: Final = re.compile(r"(?<=\d) (?=(?:ms|s|min|h|d|[kMG]?bit/s)\b)")
MOST_RIBBONS_NS: Final = 93 * 86_400 * NS_PER_S
MOST_ENTRIES: Final = 24
"""Of one time line; what is left out stands in the tables of events."""
MOST_UNSEEN: Final = 30
"""Stretches of unobserved time in a table; many short ones say less than a few long ones."""
PAGE: Final = Path(__file__).parent / "page"


def render_html(report: MonthReport) -> str:
    """Return the report as an HTML page; the same report gives the same bytes."""
    environment = page_environment(report.pen)
    return environment.get_template("month.html").render(
        report=report,
        site=report.site,
        title=report.pen.title(report.of),
        word=report.of.word,
        style=Markup((PAGE / "month.css").read_text("utf-8")),  # noqa: S704 - our own file
        headline=story.headline(report),
        happened=story.happened(report),
        to_do=story.to_do(report),
        lines=[Line(report, uplink, number) for number, uplink in enumerate(report.uplinks, 1)],
        Happening=lambda event: Happening(report, event),
        rehearsed=story.rehearsed(report),
        swatches={state.value: _drawn(charts.swatch(state)) for state in State},
        words=words,
        weekdays=report.pen.manner.weekdays(),
        most_missed=speed_page.MOST_MISSED,
        most_unseen=MOST_UNSEEN,
        codec=voice.CODECS[report.codec],
        packet_ms=round(voice.PACKET_S * 1000),
        buffer_ms=round(voice.BUFFER_S * 1000),
        fewest_runs=voice.FEWEST_RUNS,
        version=__version__,
    )


def page_environment(pen: Pen) -> Environment:
    """Return what pages are made with: everything escaped, and a *pen* and words as filters."""
    environment = Environment(
        loader=FileSystemLoader(PAGE),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    environment.filters.update(
        duration=lambda length_ns: pen.duration(length_ns).replace(" ", _NO_BREAK),
        per_cent=pen.per_cent,
        seconds_of=pen.seconds,
        ms=pen.milliseconds,
        rate=pen.rate,
        count=pen.count,
        decimal=pen.decimal,
        figures=pen.figures_in,
        name=story.name,
        instant=pen.instant,
        bounds=pen.bounds,
        incident=lambda one: _begun(story.incident(one, pen)),
        happening=lambda entry: story.happening(entry, pen),
        together=together,
        measure=story.measure,
        limit=lambda figure, clause: grounds.limit_value(clause, figure, pen),
        reason=lambda clause: grounds.reason(clause, pen),
        subject=lambda event: "traffic" if (who := subject(event)) == UNPINNED else who or "site",
        within=lambda entry, one: moment_within(entry, one, pen),
        folded=lambda entries: folded(entries, MOST_ENTRIES),
        **months_page.filters(pen),
    )
    return environment


def together(text: str) -> str:
    """Keep each figure and its unit on one line, in text or markup."""
    return type(text)(_UNIT.sub(_NO_BREAK, text))


def _begun(sentence: Markup) -> Markup:
    """Begin a sentence with a capital, unless it begins with a name: that stays as it is."""
    return sentence[:1].upper() + sentence[1:]


def moment_within(entry: Entry, one: Incident, pen: Pen) -> str:
    """Say when an entry was: the time of day, with the day where that is not the one on which its incident began."""
    shown, first = (local_time(at.estimate_unix_ns, pen.zone) for at in (entry.at, one.start))
    same = (shown.date(), shown.utcoffset()) == (first.date(), first.utcoffset())
    return pen.clock(entry.at.estimate_unix_ns) if same else pen.instant(entry.at.estimate_unix_ns)


class Line:
    """One line as the page shows it: its figures, and its charts drawn.

    Args:
        report: The month.
        uplink: The line.
        number: Its place in the page, from 1.
    """

    def __init__(self, report: MonthReport, uplink: UplinkReport, number: int) -> None:
        self.of = uplink
        self.anchor = f"line-{number}"
        promised = (clause for clause in uplink.clauses if clause.promise.measure == "availability")
        self.allowances = list(zip(promised, report.accounts.lines[uplink.name].allowances, strict=True))
        self.speed = speed_page.directions(report, uplink, number)
        self.by_parts = list(_by_promise(uplink.parts))
        of_parts: list[tuple[Part | None, Owed]] = [(part, owed) for part in uplink.parts for owed in part.credits]
        self.owed = of_parts or [(None, owed) for owed in uplink.credits]
        self.sums = sums(uplink.parts)
        self.strip = _drawn(charts.strip(report.period, uplink.states))
        self.ribbons = _ribbons(report, uplink)
        self.unseen = _unseen(report, uplink)
        self.months = (
            _drawn(months_page.months_chart(report.months, uplink.name, report.pen)) if len(report.months) > 1 else None
        )
        self.patterns = list(months_page.patterns(report, uplink))
        self.charts = {
            target.target: _drawn(charts.delay_and_loss(report.period, target.hours, report.pen))
            for target in uplink.targets
            if target.hours
        }

    @property
    def unseen_ns(self) -> int:
        """Unobserved time without what has not come yet."""
        return self.of.times.unobserved_ns - self.of.to_come_ns

    def states(self) -> Iterator[tuple[str, int, float]]:
        """Yield each state with its length and its share of the month."""
        whole = self.of.times.period_ns or 1
        for state, spans in (
            (State.UP, self.of.states.up),
            (State.IMPAIRED, self.of.states.impaired),
            (State.DOWN, self.of.states.down),
            (State.UNOBSERVED, self.of.states.unobserved),
        ):
            yield state.value, total_ns(spans), total_ns(spans) / whole


def _unseen(report: MonthReport, uplink: UplinkReport) -> list[Span]:
    """The longest stretches in which nobody looked, in order of time; not what has not come yet."""
    past = Span(report.period.start_unix_ns, max(report.period.start_unix_ns, report.now_unix_ns))
    longest = sorted(intersect(uplink.states.unobserved, [past]), key=lambda span: -span.length_ns)[:MOST_UNSEEN]
    return sorted(longest, key=lambda span: span.start_unix_ns)


def _by_promise(parts: Sequence[Part]) -> Iterator[list[tuple[Part, ClauseResult]]]:
    """Yield what became of each promise of a contract in one part after the other."""
    found: dict[tuple[Contract, Promise], list[tuple[Part, ClauseResult]]] = {}
    for part in parts:
        for clause in part.clauses:
            found.setdefault((clause.contract, clause.promise), []).append((part, clause))
    yield from found.values()


def _ribbons(report: MonthReport, uplink: UplinkReport) -> Markup | None:
    """A year of days would be as long as a door is high."""
    if report.period.length_ns > MOST_RIBBONS_NS:
        return None
    return _drawn(charts.ribbons(report.period, uplink.states, report.pen))


class Happening:
    """An event as the page shows it."""

    def __init__(self, report: MonthReport, event: Event) -> None:
        self.of = event
        self.kind = event.kind.value.replace("-", " ")
        self.length_ns = event_span(event, report.now_unix_ns).length_ns
        self.where = words.WHERE[event.domain] if event.domain else words.NOTHING
        self.evidence = [together(line) for line in evidence(event, report.pen)]

    @property
    def length_bounds(self) -> tuple[int, int] | None:
        """The shortest and the longest that it can have been, in nanoseconds; None while it goes on."""
        end = self.of.end
        if end is None:
            return None
        shortest = end.earliest_unix_ns - self.of.start.latest_unix_ns
        return max(0, shortest), end.latest_unix_ns - self.of.start.earliest_unix_ns


def _drawn(svg: str) -> Markup:
    return Markup(svg)  # noqa: S704 - drawn by matplotlib, which is never given a name
