"""Charts: one line around an outage, probe by probe: round-trip times above, and below a row for each series.

Drawn with the month's own settings; names are never drawn, rows are numbered and the page names the numbers. Every dot
is a piece of one path, so that thousands of probes stay a small page. Where many probes fall on one spot of the paper,
the quickest and the slowest answer are drawn, and one stroke for what was not answered.
"""

from collections.abc import Sequence
from datetime import UTC
from typing import Any, Final

import matplotlib as mpl
import numpy as np
from matplotlib.figure import Figure as Drawing

from wanwatch.core.account.calendar import local_time
from wanwatch.core.model import NS_PER_S, Span
from wanwatch.core.ports import MARK_NOT_SENT, MARK_REFUSED, RTT_LIMIT
from wanwatch.report.charts import LOSS, QUIET, RULE, SETTINGS, WIDTH_IN, as_svg, write_ticks
from wanwatch.report.dossier.values import Lane, Trace
from wanwatch.report.pen import Pen
from wanwatch.report.sequence import Real

COLOURS: Final = ("#1d5c7d", "#b5651d", "#3d7a5f", "#6f4a8e", "#7d7f1f", "#444c55")
"""Of unlike lightness as well as hue; the rows' numbers tell the series apart without any colour."""
_SPOTS: Final = 900
"""So many spots side by side: finer than a printed dot."""
_WASH: Final = "#f3dde0"
_TIMES_IN: Final = 1.15
_MINUTE_S: Final = 60
_STEPS_S: Final = (10, 20, 30, 60, 120, 300, 600, 1800, 3600, 7200, 21_600, 86_400)
_MOST_TICKS: Final = 8


def lane_chart(lane: Lane, window: Span, down: Span, pen: Pen) -> str:
    """Draw one line over *window*, with the outage shaded; the axis is in UTC."""
    rows_in = 0.125 * len(lane.traces) + 0.1
    heights = (_TIMES_IN, rows_in, 0.38)
    with mpl.rc_context(SETTINGS):
        drawing = Drawing(figsize=(WIDTH_IN, sum(heights)))
        above, below = drawing.subplots(2, 1, sharex=True, height_ratios=[_TIMES_IN, rows_in])
        # The same edges in every chart, so that the lines can be held against each other.
        drawing.subplots_adjust(
            left=0.075, right=0.955, top=1 - 0.04 / sum(heights), bottom=0.24 / sum(heights), hspace=0.12
        )
        for axes in (above, below):
            write_ticks(axes.yaxis, pen)
            axes.axvspan(_s(down.start_unix_ns, window), _s(down.end_unix_ns, window), color=_WASH, linewidth=0)
        _draw_times(above, lane.of_targets(), window)
        _draw_rows(below, lane.traces, window)
        below.set_xlim(0, window.length_ns / NS_PER_S)
        below.set_xticks(*_ticks(window, pen))
        return as_svg(drawing)


def _draw_times(axes: Any, targets: Sequence[Trace], window: Span) -> None:
    answered = [trace.words[trace.words < RTT_LIMIT] for trace in targets]
    every = np.sort(np.concatenate(answered)) if answered else np.empty(0)
    # The scale ends where all but the slowest hundredth fit; a slower one is drawn at its edge.
    top_ms = every[len(every) * 99 // 100 - 1] * 1.15 / 1000 if len(every) > 1 else 1.0
    for trace, colour in zip(targets, _colours(len(targets)), strict=True):
        at, ms = _spread(trace, window)
        _dots(axes, at, np.minimum(ms, top_ms * 0.99), colour, 2.0)
    axes.set(ylim=(0, top_ms), ylabel="ms")
    axes.yaxis.set_label_coords(-0.055, 0.5)
    axes.grid(axis="y", color=RULE, linewidth=0.6)
    axes.set_axisbelow(True)
    axes.spines["left"].set_visible(False)


def _draw_rows(axes: Any, traces: Sequence[Trace], window: Span) -> None:
    """A row for each series: pale where it answered, a dark stroke where it did not, a grey one where it refused."""
    for row, trace in enumerate(traces):
        _dots(axes, _spots(trace, window, trace.words < RTT_LIMIT), row, "#b9d3e0", 2.4)
        refused = trace.words == MARK_REFUSED
        lost = (trace.words >= RTT_LIMIT) & ~refused & (trace.words != MARK_NOT_SENT)
        for mask, colour, width in ((refused, QUIET, 0.8), (lost, LOSS, 1.0)):
            _strokes(axes, _spots(trace, window, mask), row, colour, width)
    axes.set(ylim=(len(traces) - 0.4, -0.6))
    axes.set_yticks(range(len(traces)), [str(row + 1) for row in range(len(traces))])
    axes.spines["left"].set_visible(False)


def _spread(trace: Trace, window: Span) -> tuple[Real, Real]:
    """Return the answered probes' instants and times in milliseconds: the quickest and the slowest of each spot."""
    answered = trace.words < RTT_LIMIT
    at, ms = _since(trace, window)[answered], trace.words[answered] / 1000
    order = np.lexsort((ms, _spot(at, window)))
    at, ms = at[order], ms[order]
    edge = np.diff(_spot(at, window)) != 0
    kept = np.append(True, edge) | np.append(edge, True) if len(at) else np.empty(0, np.bool_)
    return at[kept], ms[kept]


def _spots(trace: Trace, window: Span, mask: Any) -> Real:
    """Return one instant for each spot that a probe of *mask* falls on."""
    at = _since(trace, window)[mask]
    found: Real = at[np.unique(_spot(at, window), return_index=True)[1]]
    return found


def _since(trace: Trace, window: Span) -> Real:
    since: Real = (trace.sent_us - window.start_unix_ns // 1000) / 1e6
    return since


def _spot(at: Real, window: Span) -> Any:
    return (at * (_SPOTS * NS_PER_S / window.length_ns)).astype(np.int64)


def _dots(axes: Any, at: Real, heights: Any, colour: str, size: float) -> None:
    """Draw dots as pieces of one path: strokes of no length with round ends."""
    x, y = (np.repeat(np.broadcast_to(np.asarray(c, np.float64), at.shape), 3) for c in (at, heights))
    x[2::3] = y[2::3] = np.nan
    axes.plot(x, y, color=colour, linewidth=size, solid_capstyle="round", alpha=0.75)


def _strokes(axes: Any, at: Real, row: int, colour: str, width: float) -> None:
    x = np.repeat(at, 3)
    y = np.tile([row - 0.38, row + 0.38, np.nan], len(at))
    axes.plot(x, y, color=colour, linewidth=width, solid_capstyle="butt")


def _colours(number: int) -> list[str]:
    return [COLOURS[index % len(COLOURS)] for index in range(number)]


def _s(unix_ns: int, window: Span) -> float:
    return (unix_ns - window.start_unix_ns) / NS_PER_S


def _ticks(window: Span, pen: Pen) -> tuple[list[float], list[str]]:
    """A tick at each whole step of UTC's clock, the smallest step that gives few enough of them."""
    length_s = window.length_ns / NS_PER_S
    step_s = next((step for step in _STEPS_S if length_s / step <= _MOST_TICKS), _STEPS_S[-1])
    step_ns = step_s * NS_PER_S
    first = -(-window.start_unix_ns // step_ns) * step_ns
    at = range(first, window.end_unix_ns, step_ns)
    write = pen.manner.time if step_s < _MINUTE_S else pen.manner.minute
    return [_s(t, window) for t in at], [write(local_time(t, UTC)) for t in at]
