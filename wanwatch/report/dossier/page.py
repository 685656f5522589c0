"""The dossier as one page: a single file that loads nothing and runs nothing, for a ticket, a screen or a printer."""

from dataclasses import replace
from datetime import UTC
from typing import Final

from markupsafe import Markup

from wanwatch import __version__
from wanwatch.core.account.calendar import local_time
from wanwatch.core.incident import folded, subject
from wanwatch.core.model import NS_PER_S, UNPINNED, Bounds, Event, Role
from wanwatch.core.traced import routes_of
from wanwatch.report.dossier import missing, routes, story
from wanwatch.report.dossier.chart import COLOURS, lane_chart
from wanwatch.report.dossier.values import AROUND_NS, Dossier, Lane, Tally, Trace
from wanwatch.report.html import MOST_ENTRIES, PAGE, page_environment
from wanwatch.report.pen import Pen
from wanwatch.report.story import happening, incident

_ROLES: Final = {
    Role.LINE: "target",
    Role.GATEWAY: "gateway",
    Role.FIRST_HOP: "first hop",
    Role.NAMES: "resolver",
    Role.EGRESS: "public address",
    Role.TRAFFIC: "ordinary traffic",
}


def render_html(dossier: Dossier) -> str:
    """Return the dossier as an HTML page; the same dossier gives the same bytes."""
    pen = dossier.pen
    utc = replace(pen, zone=UTC)
    environment = page_environment(pen)
    environment.filters.update(
        utc=utc.exactly,
        local=pen.exactly,
        between=lambda bounds: between(bounds, pen),
        incident=lambda one: incident(one, pen, story.PLACE),
        happening=lambda entry: happening(entry, pen, story.PLACE),
        least=lambda ns: pen.milliseconds_of(ns // 1_000_000),
        most=lambda ns: pen.milliseconds_of(-(-ns // 1_000_000)),
    )
    style = "".join((PAGE / file).read_text("utf-8") for file in ("month.css", "dossier.css"))
    return environment.get_template("dossier.html").render(
        dossier=dossier,
        site=dossier.site,
        outage=dossier.outage,
        contract=dossier.contract,
        style=Markup(style),  # noqa: S704 - our own files
        headline=story.headline(dossier),
        where=story.where(dossier),
        rungs=story.ladder(dossier),
        rung_names=story.RUNGS,
        rung_instant=story.rung_instant,
        checks=story.checks(dossier),
        steps_on_the_way=routes.steps(dossier),
        traced=dict(zip(("Before", "During"), routes_of(dossier.outage), strict=True)),
        way=routes.words(dossier),
        missing=missing.missing(dossier),
        lanes=[Column(dossier, lane) for lane in dossier.lanes],
        course=Course(dossier),
        around=[(event, story.happening(event, dossier)) for event in _aside(dossier)],
        around_min=AROUND_NS // (60 * NS_PER_S),
        steps=[event for event in dossier.around if event.kind == "clock-step"],
        version=__version__,
    )


class Row:
    """One series of a line as the page names and counts it."""

    def __init__(self, dossier: Dossier, trace: Trace, number: int, colour: str) -> None:
        self.target = trace.series.target
        self._pen = dossier.pen
        role = _ROLES[trace.series.role]
        self.role = "" if role == self.target.replace("-", " ") else role
        self.kind = trace.series.kind.value
        self.number = number
        self.colour = colour
        self.before, self.during, self.after = (trace.tally(part) for part in dossier.parts())

    def answers(self, tally: Tally) -> str:
        """Say how many of the probes were answered."""
        return f"{self._pen.count(tally.answered)}/{self._pen.count(tally.asked)}" if tally.asked else "none asked"


class Column:
    """One line as the page shows it: its chart drawn, and a row for each series."""

    def __init__(self, dossier: Dossier, lane: Lane) -> None:
        self.name = lane.name
        self.ordinary = lane.name == UNPINNED
        self.down = lane.name == dossier.outage.uplink
        colours = dict(zip(map(id, lane.of_targets()), COLOURS * len(lane.traces), strict=False))
        self.rows = [
            Row(dossier, trace, number, colours.get(id(trace), "")) for number, trace in enumerate(lane.traces, 1)
        ]
        self.chart = Markup(lane_chart(lane, dossier.window, dossier.down, dossier.pen))  # noqa: S704 - drawn without names


class Course:
    """The incident's time line with a column for each line, so that they can be read side by side.

    Args:
        dossier: Whose incident.

    Attributes:
        columns: The line that was down, the others, then ordinary traffic and the site as a whole where they say so.
        rows: Each entry with its place among the columns; None where entries are left out.
        left_out: How many these are.
    """

    def __init__(self, dossier: Dossier) -> None:
        said = dict.fromkeys(subject(entry.event) for entry in dossier.incident.entries)
        lines = dict.fromkeys([dossier.outage.uplink, *(lane.name for lane in dossier.lanes), *said])
        rest: list[str | None] = [UNPINNED, None]
        self.columns = [line for line in lines if line not in rest] + [one for one in rest if one in said]
        first, self.left_out, last = folded(dossier.incident.entries, MOST_ENTRIES)
        rows = [(entry, self.columns.index(subject(entry.event))) for entry in (*first, *last)]
        self.rows = [*rows[: len(first)], *([None] if self.left_out else []), *rows[len(first) :]]


def _aside(dossier: Dossier) -> list[Event]:
    """What happened around the outage and is no part of its incident."""
    told = {event.id for event in (*dossier.incident.events, *dossier.incident.beside)}
    return [event for event in dossier.around if event.id not in told]


def between(bounds: Bounds, pen: Pen) -> str:
    """Say between which instants of UTC an instant lies, to the millisecond."""
    # The earliest is cut and the latest rounded up, so that what is printed still holds the truth.
    earliest, latest = (local_time(t, UTC) for t in (bounds.earliest_unix_ns, bounds.latest_unix_ns + 999_999))
    return " and ".join(pen.manner.time(shown, 3) for shown in (earliest, latest))
