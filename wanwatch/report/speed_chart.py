"""The chart of a month's speed tests: one direction, with what the contract promises and what the handoff carries."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

import matplotlib as mpl
from matplotlib.figure import Figure as Drawing

from wanwatch.core.account.calendar import days
from wanwatch.core.account.speed_tests import Speeds, SpeedTest
from wanwatch.core.model import NS_PER_S, Span
from wanwatch.report.charts import INK, LINE, LOSS, QUIET, RULE, SETTINGS, WIDTH_IN, as_svg, week_ticks, write_ticks
from wanwatch.report.pen import Pen

_HOUR_NS: Final = 3600 * NS_PER_S
_MEGA: Final = 1e6
_NAME_HEIGHT: Final = 0.085
"""Of a line's name, as a share of the chart's height."""
_STROKES: Final[Mapping[str, tuple[str, str]]] = {
    "floor": (LOSS, "--"),
    "usual": (INK, "-."),
    "peak": (QUIET, ":"),
    "ceiling": (QUIET, "-"),
}
"""Colour and dashes of each line: they differ in grey, too."""


def speed_chart(period: Span, found: Speeds, levels: Sequence[tuple[str, float]], pen: Pen) -> str:
    """Draw each test at its instant: those that count as dots, those kept apart as rings.

    Args:
        period: The month.
        found: The tests of one direction.
        levels: Lines across: `floor`, `usual`, `peak` or `ceiling`, and their speed in bits a second. A ceiling far
            above everything else is left out, since it would press the rest together.
        pen: What writes its axes.
    """
    with mpl.rc_context(SETTINGS):
        drawing = Drawing(figsize=(WIDTH_IN, 1.9), layout="constrained")
        axes = drawing.subplots()
        promised = [bps for kind, bps in levels if kind != "ceiling"]
        top = 1.12 * max([1.0, *promised, *(test.bps or 0 for test in (*found.counted, *found.apart))]) / _MEGA
        _lines(axes, [(kind, bps / _MEGA) for kind, bps in levels if bps / _MEGA <= top], top)
        _dots(axes, found.apart, facecolors="none", edgecolors=QUIET)
        _dots(axes, found.counted, facecolors=LINE, edgecolors="none")
        axes.set(ylim=(0, top), ylabel="Mbit/s")
        axes.set_xlim(period.start_unix_ns / _HOUR_NS, period.end_unix_ns / _HOUR_NS)
        axes.set_xticks(*week_ticks(list(days(period, pen.zone)), pen))
        write_ticks(axes.yaxis, pen)
        axes.grid(axis="y", color=RULE, linewidth=0.6)
        axes.set_axisbelow(True)
        axes.spines["left"].set_visible(False)
        return as_svg(drawing)


def _lines(axes: Any, levels: Sequence[tuple[str, float]], top: float) -> None:
    """Draw lines across with their names at the right, which give way to each other upwards."""
    free = 0.0
    for kind, mbps in sorted(levels, key=lambda level: level[1]):
        colour, dashes = _STROKES[kind]
        axes.axhline(mbps, color=colour, linestyle=dashes, linewidth=1.1, zorder=1)
        at = max(mbps, free)
        free = at + top * _NAME_HEIGHT
        axes.annotate(
            kind, (1, at), xycoords=("axes fraction", "data"), xytext=(4, 0), textcoords="offset points", va="center",
            color=QUIET, fontsize=7.5, annotation_clip=False,
        )  # fmt: skip


def _dots(axes: Any, tests: Sequence[SpeedTest], **look: str) -> None:
    drawn = [(test.at_unix_ns / _HOUR_NS, test.bps / _MEGA) for test in tests if test.bps is not None]
    axes.scatter([at for at, _ in drawn], [mbps for _, mbps in drawn], s=11, linewidths=0.8, zorder=2, **look)
