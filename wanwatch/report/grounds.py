"""Grounds: the figure of a clause, and why its verdict is what it is, in words."""

import math
from collections.abc import Callable, Mapping
from fractions import Fraction
from typing import Final

from wanwatch.core.account.availability import allowance_ns
from wanwatch.core.account.clauses import Because, Verdict
from wanwatch.core.account.figures import Figure
from wanwatch.core.model import NS_PER_S
from wanwatch.report.pen import Pen
from wanwatch.report.verdicts import ClauseResult
from wanwatch.report.words import NOTHING

_DELAYS: Final = frozenset({"delay", "delay-variation"})
_LENGTHS: Final = frozenset({"repair", "failover"})
_TROUBLES: Final = {"repair": "outage", "outages": "outage", "failover": "switch away"}


def limit_value(clause: ClauseResult, figure: Figure | None, pen: Pen) -> str:
    """Say a clause's figure in the unit of its measure."""
    measure = clause.promise.measure
    if figure is None:
        return NOTHING
    if measure in _DELAYS:
        return pen.milliseconds(figure * 1_000_000 if isinstance(figure, Fraction) else figure)
    if measure in _LENGTHS:
        return "any length" if math.isinf(figure) else pen.duration(Fraction(figure) * NS_PER_S)
    if measure == "outages":
        return pen.count(int(figure))
    return pen.per_cent(figure, 1 if clause.promise.speed_bps else 3)


def reason(clause: ClauseResult, pen: Pen) -> str:
    """Say why a verdict is what it is, in a few sentences."""
    return _REASONS[clause.ruling.because](clause, pen) + _so_far(clause, pen)


def _so_far(clause: ClauseResult, pen: Pen) -> str:
    """Tests decide for the time so far; what is still to come may change that."""
    speaks = clause.ruling.because in {Because.TESTS_SHOW, Because.TOO_FEW_TESTS}
    return f" So far: {pen.duration(clause.to_come_ns)} are still to come." if speaks and clause.to_come_ns else ""


def _seen(clause: ClauseResult) -> str:
    what = _TROUBLES.get(clause.promise.measure)
    if what is None:
        return ""
    return f"No {what} was seen. " if clause.samples == 0 else ""


def _holds(clause: ClauseResult, pen: Pen) -> str:
    if clause.times.unobserved_ns == 0:
        return f"{_seen(clause)}All of the time was observed."
    return (
        f"{_seen(clause)}Kept even if all {pen.duration(clause.times.unobserved_ns)} of unobserved time had gone badly."
    )


def _fails(clause: ClauseResult, pen: Pen) -> str:
    if clause.times.unobserved_ns == 0:
        return "All of the time was observed."
    if clause.to_come_ns:
        return f"Already missed, whatever the rest of the {clause.promise.per} brings."
    return f"Missed even if all {pen.duration(clause.times.unobserved_ns)} of unobserved time had gone well."


def _running(clause: ClauseResult, pen: Pen) -> str:
    kept = clause.promise.kept_by(clause.found.value)
    so_far = "Kept so far" if kept else "Missed so far"
    if clause.promise.measure != "availability":
        return f"{so_far}; {pen.duration(clause.to_come_ns)} are still to come."
    return f"{so_far}: {_allowance(clause, pen)}; {pen.duration(clause.to_come_ns)} are still to come."


def _allowance(clause: ClauseResult, pen: Pen) -> str:
    allowed = allowance_ns(clause.promise.limit, clause.times.period_ns)
    down = pen.duration(clause.times.down_ns)
    return f"down for {down} of the {pen.duration(allowed)} that the {clause.promise.per} allows"


def _could_tip(clause: ClauseResult, pen: Pen) -> str:
    kept = "keeps" if clause.promise.kept_by(clause.found.value) else "misses"
    if clause.times.unobserved_ns == 0:
        return f"What was observed {kept} the limit, but the bounds of what happened lie on both sides of it."
    gap = pen.duration(clause.times.unobserved_ns)
    return f"What was observed {kept} the limit, but {gap} went unobserved, enough to turn it either way."


def _tally(clause: ClauseResult, pen: Pen) -> str:
    """Say how many of the tests that count reached the speed."""
    reached, speed = int(clause.samples * (clause.found.value or 0)), pen.rate(clause.promise.speed_bps)
    return f"{pen.count(reached)} of {pen.count(clause.samples)} tests that count reached {speed}"


def _tests_show(clause: ClauseResult, pen: Pen) -> str:
    met = clause.ruling.verdict is Verdict.MET
    if clause.promise.limit == 1:
        return f"{_tally(clause, pen)}."
    surprise = f"so {'many' if met else 'few'} would come by chance less than once in 20 times"
    return f"{_tally(clause, pen)}: {surprise}, if the share promised were {'not ' if met else ''}kept."


def _too_few(clause: ClauseResult, pen: Pen) -> str:
    if clause.needed is None:
        return f"{_tally(clause, pen)}: no number of tests proves it."
    more = f"at least {pen.count(clause.needed)} more {'test' if clause.needed == 1 else 'tests'}"
    return f"{_tally(clause, pen)}: too few to tell from chance; {more} would decide it."


def _beyond(clause: ClauseResult, pen: Pen) -> str:
    asked = pen.rate(clause.promise.speed_bps)
    return f"The handoff cannot carry {asked} of TCP payload (see the ceiling under Speed), so missing it is no breach."


_REASONS: Final[Mapping[Because, Callable[[ClauseResult, Pen], str]]] = {
    Because.HOLDS_ANYWAY: _holds,
    Because.FAILS_ANYWAY: _fails,
    Because.STILL_RUNNING: _running,
    Because.COULD_TIP: _could_tip,
    Because.NOTHING_SEEN: lambda *_: "Nothing was observed of it.",
    Because.RAW_GONE: lambda *_: (
        "The single round-trip times of that time are no longer kept; only a report from before can decide it."
    ),
    Because.NOT_IN_FORCE: lambda *_: "The contract was not in force, or all of the time is counted out.",
    Because.TESTS_SHOW: _tests_show,
    Because.TOO_FEW_TESTS: _too_few,
    Because.BEYOND_HANDOFF: _beyond,
}
