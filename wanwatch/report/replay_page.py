"""A replay as one page: settings against outcomes, as a chart and as tables."""

from collections.abc import Sequence
from typing import Any, Final

import matplotlib as mpl
from markupsafe import Markup
from matplotlib.figure import Figure as Drawing

from wanwatch import __version__
from wanwatch.core.model import NS_PER_S
from wanwatch.core.replay import RECORDED, Outcome, Row, Tally, notes, tally
from wanwatch.report.charts import QUIET, RULE, SETTINGS, WIDTH_IN, as_svg
from wanwatch.report.dossier.chart import COLOURS
from wanwatch.report.html import PAGE, page_environment
from wanwatch.report.pen import Pen
from wanwatch.report.subject import Subject

_BAR: Final = 0.8
_ROOM: Final = 1.22
"""Bars end so far before their panel's edge that their figures fit behind them."""


def render_html(subject: Subject, table: Sequence[Row], outcome: Outcome) -> str:
    """Return a replay's table as an HTML page; the same table gives the same bytes."""
    uplinks = [plan.name for plan in subject.uplinks]
    tallies = [tally(row.events, uplinks, outcome.span) for row in table]
    sighted = [outcome.sighted_since_ns is not None or row.name == RECORDED for row in table]
    return (
        page_environment(subject.pen)
        .get_template("replay.html")
        .render(
            site=subject.site,
            outcome=outcome,
            table=list(zip(table, tallies, sighted, strict=True)),
            promises=list(zip(*(row.ruled for row in table), strict=True)),
            lines=list(zip(uplinks, COLOURS * len(uplinks), strict=False)),
            chart=Markup(chart(tallies, sighted, subject.pen)),  # noqa: S704 - drawn without names
            notes=notes(outcome),
            second_ns=NS_PER_S,
            style=Markup((PAGE / "month.css").read_text("utf-8")),  # noqa: S704 - our own file
            version=__version__,
        )
    )


def chart(tallies: Sequence[Tally], sighted: Sequence[bool], pen: Pen) -> str:
    """Draw what came of each setting; settings are numbered from 1, the lines have their colours."""
    of_lines: list[tuple[str, list[list[float | None]]]] = [
        ("outages", [[line.outages for line in one.lines] for one in tallies]),
        ("time down, s", [[line.down_s for line in one.lines] for one in tallies]),
        ("time impaired, s", [[line.impaired_s for line in one.lines] for one in tallies]),
    ]
    switches = [[float(one.switches) if seen else None] for one, seen in zip(tallies, sighted, strict=True)]
    with mpl.rc_context(SETTINGS):
        high = 0.55 + len(tallies) * max(0.3, 0.15 * max(len(one.lines) for one in tallies))
        drawing = Drawing(figsize=(WIDTH_IN, high), layout="constrained")
        panels = drawing.subplots(1, len(of_lines) + 1, sharey=True)
        for axes, (title, figures) in zip(panels, of_lines, strict=False):
            _panel(axes, title, figures, COLOURS, pen)
        _panel(panels[-1], "switches", switches, (QUIET,), pen)
        panels[0].set_yticks(range(len(tallies)), [str(number) for number in range(1, len(tallies) + 1)])
        panels[0].set_ylim(len(tallies) - 0.4, -0.6)
        return as_svg(drawing)


def _panel(
    axes: Any, title: str, figures: Sequence[Sequence[float | None]], colours: Sequence[str], pen: Pen
) -> None:  # fmt: skip
    """Draw one outcome: a row for each setting, in it a bar for each line with its figure behind it."""
    most = max((figure for row in figures for figure in row if figure is not None), default=0) or 1
    for place, row in enumerate(figures):
        thick = _BAR / len(row)
        for number, figure in enumerate(row):
            at = place - _BAR / 2 + (number + 0.5) * thick
            axes.barh(at, figure or 0, thick * 0.86, color=colours[number % len(colours)])
            text = "?" if figure is None else f"{figure:g}" if figure < 1000 else f"{figure:.0f}"  # noqa: PLR2004
            axes.text((figure or 0) + most * 0.03, at, pen.figures_in(text), va="center", fontsize=7)
    axes.set_title(title, fontsize=8.5, loc="left", color=QUIET)
    axes.set_xlim(0, most * _ROOM)
    axes.set_xticks([])
    axes.spines[["bottom"]].set_visible(False)
    axes.spines["left"].set_color(RULE)
