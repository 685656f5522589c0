"""Verdicts: they stand only if they stand whatever the unobserved time was like."""

import math
from fractions import Fraction

import pytest

from wanwatch.core.account.clauses import Because, Promise, Ruling, Verdict, counted_out, overall, rule
from wanwatch.core.account.figures import UNKNOWN, Bounded, Figure
from wanwatch.core.model import Bounds, Domain, Event, EventKind, Span

AVAILABLE = Promise(measure="availability", text="at least 99.9%", limit=Fraction("0.999"), at_least=True)
PROMPT = Promise(measure="delay", text="at most 15ms", limit=Fraction("0.015"), statistic="p95")


def found(value: Figure | str, low: Figure | str, high: Figure | str) -> Bounded:
    """A bounded figure from decimal text."""
    exact = [Fraction(x) if isinstance(x, str) else x for x in (value, low, high)]
    return Bounded(value=exact[0], low=exact[1], high=exact[2])


@pytest.mark.parametrize(
    ("promise", "figure", "verdict"),
    [
        (AVAILABLE, found("0.9995", "0.9991", "0.9996"), Verdict.MET),
        (AVAILABLE, found("0.999", "0.999", "0.999"), Verdict.MET),
        (AVAILABLE, found("0.9980", "0.9970", "0.99899999"), Verdict.BREACHED),
        (AVAILABLE, found("0.9995", "0.9", "0.9996"), Verdict.UNDECIDED),
        (AVAILABLE, found("0.998", "0.9", "0.9991"), Verdict.UNDECIDED),
        (PROMPT, found("0.012", "0.011", "0.015"), Verdict.MET),
        (PROMPT, found("0.020", "0.0150001", math.inf), Verdict.BREACHED),
        (PROMPT, found(math.inf, math.inf, math.inf), Verdict.BREACHED),
        (PROMPT, found("0.012", "0.011", math.inf), Verdict.UNDECIDED),
    ],
)
def test_a_verdict_needs_both_bounds_on_one_side_of_the_limit(
    promise: Promise, figure: Bounded, verdict: Verdict
) -> None:
    """The limit itself is kept; a billionth past it is not; bounds on both sides decide nothing."""
    assert rule(promise, figure, running=False).verdict is verdict


def test_an_undecided_clause_says_whether_the_month_runs_or_the_gap_is_to_blame() -> None:
    """The reason differs, for what to do about it differs."""
    wide = found("0.9995", "0.9", "0.9996")
    assert rule(AVAILABLE, wide, running=True) == Ruling(Verdict.UNDECIDED, Because.STILL_RUNNING)
    assert rule(AVAILABLE, wide, running=False) == Ruling(Verdict.UNDECIDED, Because.COULD_TIP)
    assert rule(AVAILABLE, UNKNOWN, running=False) == Ruling(Verdict.UNDECIDED, Because.NOTHING_SEEN)


def test_a_running_month_can_be_breached_already() -> None:
    """Once even a perfect rest cannot mend it, waiting for the month's end tells nothing more."""
    assert rule(AVAILABLE, found("0.9", "0.2", "0.998"), running=True).verdict is Verdict.BREACHED


def event(kind: EventKind, start: int, end: int, *, domain: Domain | None = None, planned: bool = False) -> Event:
    """Something that happened."""
    bounds = [Bounds(t, t, t) for t in (start, end)]
    return Event(
        id="e", site="s", kind=kind, uplink="fibre", start=bounds[0], end=bounds[1], domain=domain, planned=planned
    )


def test_only_what_the_contract_names_is_counted_out() -> None:
    """Planned work and our own faults are counted out by a contract that says so, and by no other."""
    events = [
        event(EventKind.PLANNED_WORK, 0, 10),
        event(EventKind.OUTAGE, 5, 15, planned=True),
        event(EventKind.OUTAGE, 20, 30, domain=Domain.OUR_SIDE),
        event(EventKind.OUTAGE, 40, 50, domain=Domain.PROVIDER),
        event(EventKind.FAILOVER, 60, 61, domain=Domain.OUR_SIDE),
        event(EventKind.DRILL, 70, 80),
    ]

    def out(*what: str) -> tuple[Span, ...]:
        return counted_out(frozenset(what), events, 100)

    assert out() == ()
    assert out("planned-work") == (Span(0, 10),)
    assert out("our-side") == (Span(20, 30),)
    assert out("provider", "drill") == (Span(40, 50), Span(70, 80))
    assert out("planned-work", "our-side") == (Span(0, 10), Span(20, 30))


def test_the_worst_verdict_speaks_for_all() -> None:
    """One breach outweighs every doubt, one doubt every promise kept; no clause, no verdict."""
    assert overall([Verdict.MET, Verdict.UNDECIDED, Verdict.BREACHED]) is Verdict.BREACHED
    assert overall([Verdict.MET, Verdict.UNDECIDED]) is Verdict.UNDECIDED
    assert overall([Verdict.MET]) is Verdict.MET
    assert overall([]) is None
