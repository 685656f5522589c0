"""Judging: which measure is found in which way, and from the figure to the verdict."""

from collections.abc import Callable, Mapping
from typing import Final

from wanwatch.core.account.availability import availability
from wanwatch.core.account.clauses import Because, Ruling, Verdict, rule
from wanwatch.core.account.figures import UNKNOWN
from wanwatch.core.model import EventKind, Span
from wanwatch.report.rulings import probes, speed, spells
from wanwatch.report.rulings.case import Case, Found
from wanwatch.report.verdicts import ClauseResult


def _availability(case: Case) -> Found:
    samples = sum(p.asked for _, p in case.probes)
    return Found(
        figure=availability(case.times), samples=samples, evidence=spells.ids(spells.of_kind(case, EventKind.OUTAGE))
    )


_MEASURES: Final[Mapping[str, Callable[[Case], Found]]] = {
    "availability": _availability,
    "repair": spells.repair,
    "outages": spells.outages,
    "failover": spells.failover,
    "delay": probes.delay,
    "delay-variation": probes.variation,
    "loss": probes.loss,
    "names": probes.names,
    "speed-down": speed.speed,
    "speed-up": speed.speed,
}
"""How each measure of a contract's clauses is found."""


def judge(case: Case) -> ClauseResult:
    """Judge one promise."""
    within = case.within
    nothing = Ruling(Verdict.UNDECIDED, Because.NOT_IN_FORCE)
    found = _MEASURES[within.promise.measure](case) if within.counted else Found(figure=UNKNOWN, ruling=nothing)
    return ClauseResult(
        promise=within.promise,
        contract=within.contract,
        period=Span(within.period.start_unix_ns, within.in_force[-1].end_unix_ns) if within.in_force else within.period,
        ruling=found.ruling or rule(within.promise, found.figure, running=within.to_come_ns > 0),
        found=found.figure,
        samples=found.samples,
        evidence=found.evidence,
        needed=found.needed,
        times=found.times or case.times,
        to_come_ns=within.to_come_ns,
    )
