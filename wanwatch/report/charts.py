"""Charts: a line's month as SVG text that goes straight into the page.

The same report gives the same bytes: no date, and identifiers from a fixed salt. Text stays text, so that it can be
searched, read aloud and set in the reader's own font; no name of the configuration is ever drawn into a chart.

States differ by lightness and by hatching as well as by hue, so they can be told apart in grey, too: up is the
palest, impaired is of middle lightness with strokes, down is the darkest, unobserved is white with strokes that lean
the other way.
"""

import io
import math
import re
import warnings
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

import matplotlib as mpl
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure as Drawing
from matplotlib.ticker import ScalarFormatter

from wanwatch.core.account.calendar import days
from wanwatch.core.account.figures import Figure
from wanwatch.core.account.spans import intersect
from wanwatch.core.account.timeline import Timeline
from wanwatch.core.model import NS_PER_S, Span, State
from wanwatch.report.manner import PLAIN
from wanwatch.report.pen import Pen
from wanwatch.report.samples import Hour

INK: Final = "#22303c"
QUIET: Final = "#5d6b78"
RULE: Final = "#d5dce2"
LINE: Final = "#1d5c7d"
BAND: Final = "#b9d3e0"
LOSS: Final = "#8c2f39"


@dataclass(frozen=True, slots=True)
class Look:
    """How a state is drawn."""

    face: str
    edge: str
    hatch: str = ""


LOOKS: Final = {
    State.UP: Look("#c3dbe6", "none"),
    State.IMPAIRED: Look("#e3a33b", "#8a5a0b", "////"),
    State.DOWN: Look("#6d1526", "#6d1526"),
    State.UNOBSERVED: Look("#ffffff", "#8b98a3", "\\\\\\"),
}

_GROUP: Final = re.compile(r'<g id="[^"]*"(/?)>')
"""Groups are numbered anew in every chart, and a page may hold an identifier only once."""
_LONG_NUMBER: Final = re.compile(r"(\d\.\d\d)\d+")
"""A hundredth of a point is finer than any screen or printer."""
_HOUR_NS: Final = 3600 * NS_PER_S
_APART_DAYS: Final = 4
_LETTERS_A_DAY: Final = 6
_MOST_TICKS: Final = 7
_OFF_SCALE_MS: Final = 1e9
WIDTH_IN: Final = 6.6
SETTINGS: Final = {
    "svg.hashsalt": "wanwatch",
    "svg.fonttype": "none",
    "font.family": "sans-serif",
    "font.size": 8.5,
    "text.color": INK,
    "text.parse_math": False,
    "axes.edgecolor": RULE,
    "axes.labelcolor": QUIET,
    "axes.linewidth": 0.8,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "xtick.color": QUIET,
    "ytick.color": QUIET,
    "xtick.major.size": 3,
    "ytick.major.size": 0,
    "hatch.linewidth": 0.6,
    "path.simplify": False,
}


def ribbons(period: Span, states: Timeline, pen: Pen) -> str:
    """Draw the month as one ribbon a day, each as long as the day truly was, cut into states of true length."""
    rows = list(days(period, pen.zone))
    with mpl.rc_context(SETTINGS):
        drawing = Drawing(figsize=(WIDTH_IN, 0.165 * len(rows) + 0.55), layout="constrained")
        axes = drawing.subplots()
        for state, spans in _of_state(states):
            _draw_state(axes, rows, state, spans)
        longest = max(24.0, *(span.length_ns / _HOUR_NS for _, span in rows))
        axes.set(xlim=(0, longest), ylim=(len(rows) - 0.4, -0.6), xlabel="hours since midnight")
        axes.set_xticks(range(0, int(longest) + 1, 3))
        axes.set_yticks(range(len(rows)), [pen.manner.of_month(day) for day, _ in rows])
        axes.spines[["left", "bottom"]].set_visible(False)
        axes.grid(axis="x", color="#ffffff", linewidth=0.7, alpha=0.75)
        return as_svg(drawing)


def strip(period: Span, states: Timeline) -> str:
    """Draw the whole month as one band, from its first second to its last."""
    with mpl.rc_context(SETTINGS):
        drawing = Drawing(figsize=(WIDTH_IN, 0.26))
        axes = drawing.add_axes((0.0, 0.06, 1.0, 0.88))
        axes.axis("off")
        axes.set(xlim=(0, period.length_ns / _HOUR_NS), ylim=(0.36, -0.36))
        for state, spans in _of_state(states):
            _draw_state(axes, [(date.min, period)], state, spans)
        return as_svg(drawing).replace("<svg ", '<svg preserveAspectRatio="none" ', 1)


def delay_and_loss(period: Span, hours: Sequence[Hour], pen: Pen) -> str:
    """Draw a target's delay, hour by hour, as a band from the 5th to the 95th percentile with the median; loss below.

    The scale of delay begins below the least delay and ends where all but the worst hundredth of the hours fit; a band
    that leaves it, leaves it.
    """
    with mpl.rc_context(SETTINGS):
        drawing = Drawing(figsize=(WIDTH_IN, 2.6), layout="constrained")
        above, below = drawing.subplots(2, 1, sharex=True, height_ratios=[3, 1.15])
        _draw_band(above, hours)
        _draw_loss(below, hours)
        rows = list(days(period, pen.zone))
        below.set_xlim(period.start_unix_ns / _HOUR_NS, period.end_unix_ns / _HOUR_NS)
        below.set_xticks(*week_ticks(rows, pen))
        for axes in (above, below):
            write_ticks(axes.yaxis, pen)
            axes.grid(axis="y", color=RULE, linewidth=0.6)
            axes.set_axisbelow(True)
            axes.spines["left"].set_visible(False)
        return as_svg(drawing)


def swatch(state: State) -> str:
    """Draw a state's look for the legend, as the ribbon shows it."""
    look = LOOKS[state]
    with mpl.rc_context(SETTINGS):
        drawing = Drawing(figsize=(0.36, 0.17))
        axes = drawing.add_axes((0.02, 0.05, 0.96, 0.9))
        axes.axis("off")
        axes.set(xlim=(0, 1), ylim=(0, 1))
        _bar(axes, [(0, 1)], 0, 1, look)
        return as_svg(drawing)


def _of_state(states: Timeline) -> Iterator[tuple[State, tuple[Span, ...]]]:
    """The states in order of drawing: what matters most comes last, on top."""
    yield State.UP, states.up
    yield State.UNOBSERVED, states.unobserved
    yield State.IMPAIRED, states.impaired
    yield State.DOWN, states.down


def _draw_state(axes: Any, rows: Sequence[tuple[date, Span]], state: State, spans: Sequence[Span]) -> None:
    for number, (_, day) in enumerate(rows):
        parts = [
            ((part.start_unix_ns - day.start_unix_ns) / _HOUR_NS, part.length_ns / _HOUR_NS)
            for part in intersect(spans, [day])
        ]
        if parts:
            _bar(axes, parts, number - 0.36, 0.72, LOOKS[state])


def _bar(axes: Any, parts: Sequence[tuple[float, float]], low: float, height: float, look: Look) -> None:
    # The edge gives a state that lasted seconds a hairline's width, without which it could not be seen at all.
    width = 0.0 if look.edge == "none" else 0.6
    axes.broken_barh(
        parts, (low, height), facecolor=look.face, edgecolor=look.edge, linewidth=width, hatch=look.hatch or None
    )


def _draw_band(axes: Any, hours: Sequence[Hour]) -> None:
    at = [(hour.start_unix_ns + _HOUR_NS // 2) / _HOUR_NS for hour in hours]
    low, middle, high = ([_ms(getattr(hour, name)) for hour in hours] for name in ("p5_us", "p50_us", "p95_us"))
    x, (low, middle, high) = _with_gaps(at, low, middle, high)
    bottom, top = _scale(low, high)
    clipped = [min(value, top * 1.5) if not math.isnan(value) else value for value in high]
    axes.fill_between(x, low, clipped, color=BAND, linewidth=0)
    axes.plot(x, middle, color=LINE, linewidth=0.9)
    axes.set(ylim=(bottom, top), ylabel="delay, ms")


def _draw_loss(axes: Any, hours: Sequence[Hour]) -> None:
    lossy = [hour for hour in hours if hour.loss]
    at = [(hour.start_unix_ns + _HOUR_NS // 2) / _HOUR_NS for hour in lossy]
    shares = [float(hour.loss or 0) * 100 for hour in lossy]
    axes.vlines(at, 0, shares, color=LOSS, linewidth=1.1)
    axes.set(ylim=(0, max([1.0, *shares]) * 1.08), ylabel="loss, %")


def _with_gaps(at: Sequence[float], *columns: Sequence[float]) -> tuple[list[float], list[list[float]]]:
    """Put a hole between hours that do not follow each other, so that no line is drawn where nothing was seen."""
    x: list[float] = []
    filled: list[list[float]] = [[] for _ in columns]
    for number, instant in enumerate(at):
        if x and instant - at[number - 1] > 1:
            x.append(at[number - 1] + 0.5)
            for column in filled:
                column.append(math.nan)
        x.append(instant)
        for column, values in zip(filled, columns, strict=True):
            column.append(values[number])
    return x, filled


def _scale(low: Sequence[float], high: Sequence[float]) -> tuple[float, float]:
    """Where the scale of delay begins and ends, with a margin of a tenth of it on both sides."""
    least = min((value for value in low if math.isfinite(value)), default=0.0)
    finite = sorted(value for value in high if math.isfinite(value) and value < _OFF_SCALE_MS)
    most = finite[min(len(finite) - 1, len(finite) * 99 // 100)] if finite else least + 1
    margin = max(0.1, (most - least) * 0.1)
    return max(0.0, least - margin), most + margin


def _ms(figure: Figure | None) -> float:
    """Milliseconds for drawing; an hour whose percentile falls on unanswered probes goes off the scale."""
    if figure is None:
        return math.nan
    return _OFF_SCALE_MS if figure == math.inf else float(figure) / 1000


def week_ticks(rows: Sequence[tuple[date, Span]], pen: Pen) -> tuple[list[float], list[str]]:
    """Return a tick at midnight of each Monday, or of every so many, and of the first day where that is far enough."""
    mondays = [row for row in rows if row[0].weekday() == 0]
    mondays = mondays[:: 1 + len(mondays) // _MOST_TICKS]
    first = rows[:1] if not mondays or _apart(rows[0][0], mondays[0][0], pen) else []
    at = [span.start_unix_ns / _HOUR_NS for _, span in (*first, *mondays)]
    return at, [pen.manner.weekday(day) for day, _ in (*first, *mondays)]


def _apart(first: date, monday: date, pen: Pen) -> bool:
    """Whether both names fit beside each other in a chart of a month; in some locales they are long."""
    days_apart = (monday - first).days
    letters = len(pen.manner.weekday(first)) + len(pen.manner.weekday(monday))
    return days_apart >= _APART_DAYS and letters <= days_apart * _LETTERS_A_DAY


def write_ticks(axis: Any, pen: Pen) -> None:
    """Let an axis's numbers be written in the manner of the rest; the plain manner is matplotlib's own."""
    if pen.manner is not PLAIN:
        axis.set_major_formatter(_Written(pen))


class _Written(ScalarFormatter):
    """The usual choice of digits, written by a pen."""

    def __init__(self, pen: Pen) -> None:
        super().__init__(useOffset=False)
        self._pen = pen

    def __call__(self, x: float, pos: int | None = None) -> str:
        return self._pen.figures_in(super().__call__(x, pos))


def as_svg(drawing: Drawing) -> str:
    """Return the drawing as an element for a page: without XML prologue, and scaling with its column."""
    held = io.StringIO()
    with warnings.catch_warnings():
        # Text stays text and is set in the reader's font; that ours lacks a script's letters matters to nobody.
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        FigureCanvasSVG(drawing).print_svg(held, metadata={"Date": None, "Creator": None, "Type": None, "Format": None})
    text = held.getvalue()
    text = text[text.index("<svg") :].strip()
    text = _GROUP.sub(r"<g\1>", text)
    return _LONG_NUMBER.sub(r"\1", text)
