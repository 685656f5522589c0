"""What the page shows of months side by side and of the hours of the week."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any, Final, NamedTuple

import matplotlib as mpl
from markupsafe import Markup
from matplotlib.figure import Figure as Drawing

from wanwatch.core.acceptance import About
from wanwatch.core.model import NS_PER_S, State
from wanwatch.report.charts import LINE, LOOKS, QUIET, RULE, SETTINGS, WIDTH_IN, as_svg, write_ticks
from wanwatch.report.months import MonthRow
from wanwatch.report.pen import Pen
from wanwatch.report.speed_page import DIRECTION
from wanwatch.report.story import name
from wanwatch.report.values import MonthReport, UplinkReport
from wanwatch.report.week import Week, delays, speeds

_NO_BREAK: Final = "\N{NO-BREAK SPACE}"
_HUNDRED: Final = 100


class Pattern(NamedTuple):
    """A table of the hours of a week, with what it says above."""

    caption: Markup
    unit: str
    week: Week


def patterns(report: MonthReport, uplink: UplinkReport) -> Iterator[Pattern]:
    """Yield the patterns of a line's week: delay to its first target, and speed in each direction."""
    for target in uplink.targets[:1]:
        week = delays(target.hours, report.zone)
        if week.known:
            caption = Markup("95th percentile of delay to {} by the hour of the week").format(name(target.target))
            yield Pattern(caption, "in ms", week)
    for way, found in uplink.speed.items():
        week = speeds(found.counted, report.zone)
        if week.known:
            yield Pattern(Markup("Speed {} by the hour of the week").format(DIRECTION[way]), "in Mbit/s", week)


def short(figure: float | None, pen: Pen) -> str:
    """Say a cell's figure in as few digits as it takes: to the tenth, or whole from a hundred on."""
    if figure is None:
        return ""
    if figure == float("inf"):
        return "✕"
    return pen.decimal(figure, 0 if figure >= _HUNDRED else 1)


def filters(pen: Pen) -> Mapping[str, Callable[..., Any]]:
    """Return the filters that the page's part on months needs."""
    return {
        "targets_of": targets_of,
        "short": lambda figure: short(figure, pen),
        "month": lambda row: pen.month_in_short(row.name),
        "seconds": lambda seconds: pen.duration(round(seconds * NS_PER_S)).replace(" ", _NO_BREAK),
        "as_item": lambda figure, about: as_item(figure, about, pen),
        "bytes": lambda number: size(number, pen),
        "ms_of": lambda seconds: pen.milliseconds(None if seconds is None else seconds * 1e6),
    }


def as_item(figure: float | None, about: About, pen: Pen) -> str:
    """Say a figure of an acceptance test in the unit of its item."""
    if about is About.DELAY:
        return pen.milliseconds(None if figure is None else figure * 1e6)
    return pen.per_cent(figure) if about is About.LOSS else pen.rate(figure)


def size(number: int, pen: Pen) -> str:
    """Say how many bytes: in megabytes, or in gigabytes where it is that many."""
    giga, mega = 10**9, 10**6
    return f"{pen.decimal(number / mega, 1)} MB" if number < giga else f"{pen.decimal(number / giga, 2)} GB"


def targets_of(rows: Sequence[MonthRow], line: str) -> list[str]:
    """Return the targets that a line was measured to in any of some months, the last month's first."""
    found = [target for row in reversed(rows) for one in row.lines if one.name == line for target in one.p95_s]
    return list(dict.fromkeys(found))


def months_chart(rows: Sequence[MonthRow], line: str, pen: Pen) -> str:
    """Draw the downtime of each month as bars, and the 95th percentile of delay to the first target as dots."""
    targets = targets_of(rows, line)
    mine = [row.line(line) for row in rows]
    places = range(len(rows))
    with mpl.rc_context(SETTINGS):
        drawing = Drawing(figsize=(WIDTH_IN, 1.9), layout="constrained")
        axes = drawing.subplots()
        axes.bar(places, [one.down_s / 60 if one else 0 for one in mine], width=0.55, color=LOOKS[State.DOWN].face)
        axes.set(ylabel="down, min", xlim=(-0.6, len(rows) - 0.4))
        axes.set_ylim(0, max([1.0, *(one.down_s / 60 for one in mine if one)]) * 1.15)
        axes.set_xticks(places, [pen.month_in_short(row.name).replace(" ", "\n") for row in rows])
        write_ticks(axes.yaxis, pen)
        axes.grid(axis="y", color=RULE, linewidth=0.6)
        axes.set_axisbelow(True)
        _delays(axes, [one.p95_s.get(targets[0]) if one and targets else None for one in mine], pen)
        return as_svg(drawing)


def _delays(axes: Any, p95_s: Sequence[float | None], pen: Pen) -> None:
    known = [(place, figure * 1000) for place, figure in enumerate(p95_s) if figure is not None]
    if not known:
        return
    beside = axes.twinx()
    beside.plot(*zip(*known, strict=True), color=LINE, marker="o", markersize=5, linewidth=0.9)
    beside.set(ylabel="delay p95, ms", ylim=(0, max(figure for _, figure in known) * 1.25))
    write_ticks(beside.yaxis, pen)
    beside.spines["right"].set_visible(True)
    beside.spines["right"].set_color(QUIET)
