"""Uplinks: what a report says of one line, from its states, its events, its tests and what its probes did."""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from wanwatch.core.account import voice
from wanwatch.core.account.availability import availability, mean_times, times_in
from wanwatch.core.account.figures import loss_ratio, percentile
from wanwatch.core.account.spans import intersect
from wanwatch.core.account.speed_tests import DIRECTIONS, SpeedTest, speeds
from wanwatch.core.account.timeline import Timeline, spans_of
from wanwatch.core.account.voice import CODECS, Codec
from wanwatch.core.model import SWITCHES, EventKind, Role, Span
from wanwatch.report.lines import Gathered, Line
from wanwatch.report.owed import owed
from wanwatch.report.rulings import Case, Scope, judge
from wanwatch.report.samples import Probes, ranked
from wanwatch.report.sequence import InOrder
from wanwatch.report.subject import Subject
from wanwatch.report.values import ResolverFindings, TargetFigures, UplinkReport, Variation
from wanwatch.report.verdicts import ClauseResult, Owed

_MEDIAN, _P95, _P99 = Fraction(1, 2), Fraction(95, 100), Fraction(99, 100)
_US_PER_S: Final = 1_000_000
OF_SWITCHING: Final = frozenset({EventKind.STUCK_FAILOVER, EventKind.FLAPPING, EventKind.DRILL})
"""Events of a line that are told of the site's switching."""


@dataclass(frozen=True, slots=True)
class Told:
    """What of a report is the same for all lines.

    Attributes:
        subject: The site.
        period: The time that is reported on.
        now_unix_ns: The future begins here.
        monthly: Whether that is a month of the calendar: credits are owed by the month.
    """

    subject: Subject
    period: Span
    now_unix_ns: int
    monthly: bool


def uplink_report(
    of: Told, probes: Gathered, reached: Timeline, tests: list[SpeedTest], resolving: tuple[ResolverFindings, ...]
) -> UplinkReport:
    """Account for one line.

    Args:
        of: The report.
        probes: The line, and what its probes did.
        reached: Its states over all of the time that its promises speak of.
        tests: Its speed tests of that time.
        resolving: What inspections found of its resolvers.
    """
    line, period, codec = probes.line, of.period, CODECS[of.subject.codec]
    states = reached.within(period)
    times = times_in(states, [period])
    own = [e for e in line.events if e.uplink == line.plan.name and e.kind not in SWITCHES | OF_SWITCHING]
    outages = tuple(event for event in own if event.kind is EventKind.OUTAGE)
    separate = [s for s in spans_of(outages, {EventKind.OUTAGE}, of.now_unix_ns) if intersect([s], states.down)]
    clauses = tuple(_clause(of, probes, within, reached, tests) for within in line.scopes)
    inside = [test for test in tests if period.start_unix_ns <= test.at_unix_ns < period.end_unix_ns]
    return UplinkReport(
        name=line.plan.name,
        contracts=tuple(c for c in line.plan.contracts if c.in_force(period, of.subject.zone)),
        states=states,
        times=times,
        to_come_ns=max(0, period.end_unix_ns - max(of.now_unix_ns, period.start_unix_ns)),
        availability=availability(times),
        means=mean_times(times, len(separate)),
        outages=outages,
        others=tuple(event for event in own if event.kind is not EventKind.OUTAGE),
        targets=tuple(_figures(target, probes.of_target(Role.LINE, target), codec) for target in line.line),
        names=tuple(_figures(target, probes.of_target(Role.NAMES, target), codec) for target in line.names),
        resolving=resolving,
        speed={direction: speeds(inside, direction) for direction in DIRECTIONS},
        best_bps=line.plan.best_bps,
        clauses=clauses,
        credits=_credits(of, line, states, clauses) if of.monthly else (),
    )


def _clause(of: Told, probes: Gathered, within: Scope, states: Timeline, tests: list[SpeedTest]) -> ClauseResult:
    line = probes.line
    case = Case(
        within=within, subject=of.subject, plan=line.plan, states=states, events=line.told,
        probes=probes.of_promise(within), tests=tests, now_unix_ns=of.now_unix_ns,
    )  # fmt: skip
    return judge(case)


def _credits(of: Told, line: Line, states: Timeline, clauses: Sequence[ClauseResult]) -> tuple[Owed, ...]:
    found = (
        owed(
            contract, of.subject, of.period, clauses=[clause for clause in clauses if clause.contract is contract],
            events=line.events, unobserved=states.unobserved, now_unix_ns=of.now_unix_ns,
        )
        for contract in line.plan.contracts
        if contract.in_force(of.period, of.subject.zone)
    )  # fmt: skip
    return tuple(one for one in found if one is not None)


def _figures(target: str, probes: Probes, codec: Codec) -> TargetFigures:
    p50, p95, p99 = (percentile(probes.ranked, share) for share in (_MEDIAN, _P95, _P99))
    return TargetFigures(
        target=target,
        samples=probes.ranked.count,
        p50_us=p50,
        p95_us=p95,
        p99_us=p99,
        loss=loss_ratio(probes.missed, probes.asked),
        asked=probes.asked,
        missed=probes.missed,
        refused=probes.refused,
        raw_gone=probes.raw_gone,
        hours=probes.hours,
        variation=_variation(probes, probes.in_order, codec) if probes.in_order else None,
    )


def _variation(probes: Probes, in_order: InOrder, codec: Codec) -> Variation:
    above_least = ranked(probes.variation, probes.unanswered)
    # Loss takes its own part off a call's rating, so the delay is that of answered probes only.
    answered_us = percentile(ranked(probes.ordered, 0), _P95)
    loss = loss_ratio(probes.missed, probes.asked)
    call = None
    if answered_us is not None and loss is not None:
        call = voice.line(float(answered_us) / _US_PER_S, float(loss), codec, in_order.runs)
    return Variation(
        pdv_p95_us=percentile(above_least, _P95),
        pdv_p99_us=percentile(above_least, _P99),
        in_order=in_order,
        voice=call,
    )
