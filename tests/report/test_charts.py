"""Charts: true lengths, stable bytes, and states that can be told apart without colour."""

import math
import re
from datetime import date
from fractions import Fraction
from itertools import pairwise
from zoneinfo import ZoneInfo

from tests.fakes.month import PERIOD
from wanwatch.core.account.calendar import month_span
from wanwatch.core.account.timeline import Timeline
from wanwatch.core.model import NS_PER_S, Span, State
from wanwatch.report.charts import LOOKS, delay_and_loss, ribbons, strip, swatch
from wanwatch.report.pen import Pen
from wanwatch.report.samples import Hour

LONDON = ZoneInfo("Europe/London")
PEN = Pen(LONDON)
HOUR_NS = 3600 * NS_PER_S
START = PERIOD.start_unix_ns


def states(**given: tuple[Span, ...]) -> Timeline:
    return Timeline(**{"up": (), "impaired": (), "down": (), "unobserved": ()} | given)


def widths(svg: str, colour: str) -> list[float]:
    """Widths of the shapes filled with *colour*: drawn in place, or defined first and used after."""
    defined = dict(re.findall(r'<path id="([^"]*)" d="([^"]*)"', svg))
    placed = re.findall(r'<path d="([^"]*)"[^>]*style="([^"]*)"', svg)
    used = [(defined[key], style) for key, style in re.findall(r'<use xlink:href="#([^"]*)"[^>]*style="([^"]*)"', svg)]
    filled = [path for path, style in placed + used if f"fill: {colour}" in style]
    return [max(xs) - min(xs) for xs in ([float(x) for x in re.findall(r"[ML] ([\d.]+)", path)] for path in filled)]


def test_a_day_of_25_hours_has_a_longer_ribbon() -> None:
    """October in London: 31 ribbons, of which the 25th's is 25/24 as long as the others."""
    drawn = widths(ribbons(PERIOD, states(up=(PERIOD,)), PEN), LOOKS[State.UP].face)
    assert len(drawn) == 31
    others = {round(w) for w in (*drawn[:24], *drawn[25:])}
    assert len(others) == 1
    assert math.isclose(drawn[24] / drawn[0], 25 / 24, rel_tol=1e-3)


def test_a_day_of_23_hours_has_a_shorter_one() -> None:
    """March in London: the 29th."""
    march = month_span(2026, 3, LONDON)
    drawn = widths(ribbons(march, states(up=(march,)), PEN), LOOKS[State.UP].face)
    assert math.isclose(drawn[28] / drawn[0], 23 / 24, rel_tol=1e-3)


def test_a_state_is_as_long_as_it_lasted() -> None:
    """Six hours down are a quarter of a day's ribbon."""
    down = Span(START + 3 * HOUR_NS, START + 9 * HOUR_NS)
    svg = ribbons(PERIOD, states(up=(PERIOD,), down=(down,)), PEN)
    (six_hours,) = widths(svg, LOOKS[State.DOWN].face)
    assert math.isclose(six_hours / widths(svg, LOOKS[State.UP].face)[0], 0.25, rel_tol=1e-3)


def test_a_state_that_passes_midnight_is_drawn_on_both_days() -> None:
    """Two hours on each side."""
    down = Span(START + 22 * HOUR_NS, START + 26 * HOUR_NS)
    first, second = widths(ribbons(PERIOD, states(down=(down,)), PEN), LOOKS[State.DOWN].face)
    assert math.isclose(first, second, abs_tol=0.02)


def test_a_second_down_can_still_be_seen() -> None:
    """It has an edge of the same colour, as wide as a hairline."""
    down = Span(START, START + NS_PER_S)
    svg = ribbons(PERIOD, states(up=(PERIOD,), down=(down,)), PEN)
    assert f"fill: {LOOKS[State.DOWN].face}; stroke: {LOOKS[State.DOWN].edge}; stroke-width: 0.6" in svg


def test_the_same_states_give_the_same_bytes_and_no_date() -> None:
    """Two runs can be compared, and neither says when it was made."""
    one, two = (strip(PERIOD, states(up=(PERIOD,))) for _ in range(2))
    assert one == two
    assert "date" not in one.lower()
    assert "<metadata" not in one


def test_text_stays_text_and_identifiers_do_not_repeat() -> None:
    """It can be searched and read aloud; two charts in one page share no identifier but that of the same shape."""
    svg = ribbons(PERIOD, states(up=(PERIOD,)), PEN)
    assert ">Sun 25</text>" in svg
    assert '<g id="' not in svg


def luminance(colour: str) -> float:
    """Relative luminance by WCAG 2 (from memory)."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.03928 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_states_differ_in_grey_and_in_hatching() -> None:
    """Neighbours in lightness stand 1.4 to 1 apart, and two of the four are hatched, each its own way."""
    light = sorted((luminance(look.face) for look in LOOKS.values()), reverse=True)
    assert all((a + 0.05) / (b + 0.05) > 1.4 for a, b in pairwise(light))
    assert len({look.hatch for look in LOOKS.values()}) == 3
    assert "<pattern" in swatch(State.IMPAIRED)
    assert "<pattern" in swatch(State.UNOBSERVED)


def hour(number: int, p95_us: float = 12_000, loss: Fraction | None = None) -> Hour:
    high = Fraction(p95_us) if math.isfinite(p95_us) else p95_us
    return Hour(START + number * HOUR_NS, Fraction(9000), Fraction(10_000), high, loss)


def test_delay_is_drawn_with_gaps_where_nothing_was_seen() -> None:
    """No line joins two hours between which nobody watched."""
    joined = delay_and_loss(PERIOD, [hour(n) for n in range(6)], PEN)
    apart = delay_and_loss(PERIOD, [hour(n) for n in (0, 1, 2, 100, 101, 102)], PEN)
    line = re.compile(r'd="(M[^"]*)"[^>]*style="fill: none; stroke: #1d5c7d')

    def strokes(svg: str) -> int:
        return sum(path.count("M") for path in line.findall(svg))

    assert (strokes(joined), strokes(apart)) == (1, 2)


def test_an_hour_without_answers_does_not_stretch_the_scale() -> None:
    """An infinite percentile goes off the top; the other hours stay readable."""
    svg = delay_and_loss(PERIOD, [*(hour(n) for n in range(50)), hour(50, math.inf, Fraction(1, 10))], PEN)
    labels = [float(text) for text in re.findall(r">([\d.]+)</text>", svg)]
    assert max(labels) < 20


def test_a_month_without_a_single_answer_can_be_drawn() -> None:
    """Nothing but loss."""
    silent = Hour(START, math.inf, math.inf, math.inf, Fraction(1))
    assert "loss, %" in delay_and_loss(PERIOD, [silent], PEN)


def test_the_first_of_the_month_is_named_unless_a_monday_is_too_close() -> None:
    """In November 2026 the first is a Sunday: only the Mondays are named."""
    november = month_span(2026, 11, LONDON)
    assert date(2026, 11, 2).weekday() == 0
    svg = delay_and_loss(november, [], PEN)
    assert ">Mon 2 Nov</text>" in svg
    assert "Sun 1 Nov" not in svg
    assert ">Thu 1 Oct</text>" in delay_and_loss(PERIOD, [], PEN)
