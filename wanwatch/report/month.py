"""Month: reads the record once and accounts for every line of a site."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Final

from wanwatch.core.account import voice
from wanwatch.core.account.availability import availability, mean_times, times_in
from wanwatch.core.account.calendar import Per, calendar_span
from wanwatch.core.account.figures import loss_ratio, percentile
from wanwatch.core.account.period import Period
from wanwatch.core.account.spans import intersect, total_ns, union
from wanwatch.core.account.speed_tests import DIRECTIONS, SpeedTest, read_tests, speeds
from wanwatch.core.account.timeline import Timeline, probed_spans, spans_of, timeline
from wanwatch.core.account.voice import CODECS, Codec
from wanwatch.core.drill import Rehearsal, rehearsals
from wanwatch.core.incident import incidents_in
from wanwatch.core.model import SWITCHES, UNPINNED, Event, EventKind, MeasurementKind, Role, Series, Span
from wanwatch.core.ports import Record
from wanwatch.report.accounting import accounts_of, path_of
from wanwatch.report.owed import owed
from wanwatch.report.resolving import resolving_in
from wanwatch.report.rulings import Case, Scope, judge, scope
from wanwatch.report.samples import Collector, Probes, gather, ranked
from wanwatch.report.sequence import InOrder
from wanwatch.report.subject import Subject, UplinkPlan
from wanwatch.report.values import (
    MonthReport,
    ResolverFindings,
    TargetFigures,
    UplinkReport,
    Variation,
)
from wanwatch.report.verdicts import ClauseResult, Owed

_MEDIAN, _P95, _P99 = Fraction(1, 2), Fraction(95, 100), Fraction(99, 100)
_US_PER_S: Final = 1_000_000
_OF_SWITCHING: Final = frozenset({EventKind.STUCK_FAILOVER, EventKind.FLAPPING, EventKind.DRILL})
_LISTED_APART: Final = SWITCHES | {EventKind.DRILL}


@dataclass(slots=True)
class _Line:
    """One uplink at work: what the record holds of it, and where its samples go.

    Attributes:
        plan: The uplink.
        events: Its own events of the month, and those of the whole site.
        told: The same of all of the time that its promises speak of.
        answering: When it was up or impaired in the month, as far as events and watching tell.
        reached: The same for all of the time that its promises speak of.
        scopes: Its promises, each with the time that counts.
        line: Its series that speak for the line, by target.
        names: Its series that ask resolvers, by resolver.
        collectors: By target and by the time that counts.
    """

    plan: UplinkPlan
    events: list[Event]
    told: list[Event]
    answering: tuple[Span, ...]
    reached: tuple[Span, ...]
    scopes: list[Scope]
    line: dict[str, list[Series]]
    names: dict[str, list[Series]]
    collectors: dict[tuple[Role, str, tuple[Span, ...]], Collector] = field(default_factory=dict)

    def open_collectors(self, *, detailed: bool) -> None:
        for target in self.line:
            self.collectors[Role.LINE, target, self.answering] = Collector(self.answering, detailed=detailed)
        for target in self.names:
            self.collectors[Role.NAMES, target, self.answering] = Collector(self.answering, detailed=False)
        for within in self.scopes:
            keep = self.keep(within)
            for role, target in self.asked_of(within):
                self.collectors.setdefault((role, target, keep), Collector(keep, detailed=False))

    def keep(self, within: Scope) -> tuple[Span, ...]:
        """The time whose samples count for a promise; the very same value as `answering` where that is all of it."""
        return intersect(self.reached, within.counted)

    def asked_of(self, within: Scope) -> list[tuple[Role, str]]:
        if within.promise.measure == "names":
            return [(Role.NAMES, resolver) for resolver in self.names]
        wanted = within.promise.target
        return [(Role.LINE, target) for target in self.line if wanted in {None, target}]

    def of_series(self) -> Iterable[tuple[Series, list[Collector]]]:
        for role, by_target in ((Role.LINE, self.line), (Role.NAMES, self.names)):
            for target, many in by_target.items():
                mine = [c for (r, t, _), c in self.collectors.items() if (r, t) == (role, target)]
                yield from ((series, mine) for series in many)


def build_period(
    record: Record, subject: Subject, of: Period, now_unix_ns: int, *, detailed: bool = True, ending: bool = False
) -> MonthReport:
    """Account for a month, or another period, of one site: the same way for all of them.

    Args:
        record: The record.
        subject: The site, its lines and their contracts.
        of: The period. What is promised by shorter times of the calendar is left to the reports of these; of days it is
            judged over all of them.
        now_unix_ns: The future begins here; it is unobserved.
        detailed: Whether delays are told hour by hour, and what the order of probes tells; no promise rests on them.
        ending: Whether promises are left out whose time goes on beyond the period; they look back the furthest.
    """
    period = of.span
    over = {per: period if _within(per, of) else calendar_span(per, of.year, of.month, subject.zone) for per in Per}
    judged = [per for per in Per if _judged_by(per, of) and not (ending and over[per].end_unix_ns > period.end_unix_ns)]
    reach = over[_longest(subject, judged)]
    until_unix_ns = min(now_unix_ns, period.end_unix_ns)  # a quarter is judged so far by the reports of its months
    told = [e for e in record.events(subject.site, reach) if _has_begun(e, until_unix_ns)]
    events = [e for e in record.events(subject.site, period) if _has_begun(e, now_unix_ns)]
    watched = record.watched(subject.site, reach)
    all_series = record.series(subject.site)

    def line(plan: UplinkPlan) -> _Line:
        mine = [event for event in told if event.uplink in {plan.name, None}]
        seen = timeline(reach, plan.name, events=told, watched=watched, probed=[reach], now_unix_ns=until_unix_ns)
        reached = union(seen.up, seen.impaired)
        at_work = _Line(
            plan=plan,
            events=[event for event in events if event.uplink in {plan.name, None}],
            told=mine,
            answering=intersect(reached, [period]),
            reached=reached,
            scopes=[
                scope(p, one, subject, period=over[p.per], events=mine, now_unix_ns=until_unix_ns)
                for one in plan.contracts
                for p in (one.promises if one.in_force(period, subject.zone) else ())
                if p.per in judged
            ],
            line=_by_target(all_series, plan.name, Role.LINE, [target.name for target in plan.targets]),
            names=_by_target(all_series, plan.name, Role.NAMES),
        )
        at_work.open_collectors(detailed=detailed)
        return at_work

    lines = [line(plan) for plan in _plans(subject, all_series)]
    collectors = {series: mine for one in lines for series, mine in one.of_series()}
    collectors |= {series: [] for series in path_of(all_series)}
    seen_so_far = Span(reach.start_unix_ns, max(reach.start_unix_ns, until_unix_ns))
    minutes = gather(record.blocks(subject.site, seen_so_far, list(collectors)), collectors)
    known = {plan.name for plan in subject.uplinks}
    # Inspections are counted by the month of the calendar.
    resolving = resolving_in(record, subject, of.year, of.month) if of.per is Per.MONTH else {}
    tests = [
        test for kept in record.measurements(subject.site, reach, MeasurementKind.SPEED) for test in read_tests(kept)
    ]
    uplinks = []
    for one in lines:
        seen = [minute for many in one.line.values() for series in many for minute in minutes[series].minutes]
        if seen or one.plan.name in known:
            probed = probed_spans(seen, one.plan.reach_minutes)
            states = timeline(
                reach, one.plan.name, events=told, watched=watched, probed=probed, now_unix_ns=until_unix_ns
            )
            mine = [test for test in tests if test.uplink == one.plan.name and test.at_unix_ns < until_unix_ns]
            found = resolving.get(one.plan.name, ())
            uplinks.append(
                _uplink(_Month(subject, period, now_unix_ns, monthly=of.per is Per.MONTH), one, states, mine, found)
            )
    return MonthReport(
        site=subject.site,
        timezone=subject.timezone,
        of=of,
        period=period,
        now_unix_ns=until_unix_ns,
        note=subject.note,
        locale=subject.locale,
        codec=subject.codec,
        uplinks=tuple(uplinks),
        switches=tuple(event for event in events if event.kind in SWITCHES),
        site_events=tuple(e for e in events if e.kind not in _LISTED_APART and _of_the_site(e)),
        all_down_ns=_all_down_ns(uplinks),
        incidents=tuple(one for one in incidents_in(record, subject.site, period) if _has_begun(one.lead, now_unix_ns)),
        drills=tuple(event for event in events if event.kind is EventKind.DRILL),
        rehearsals=_rehearsals(record, subject, min(now_unix_ns, period.end_unix_ns)),
        accounts=accounts_of(
            subject, uplinks, minutes, period=period, events=events, watched=watched, now_unix_ns=now_unix_ns
        ),
    )


def _rehearsals(record: Record, subject: Subject, until_unix_ns: int) -> tuple[Rehearsal, ...]:
    """As they stood then: a drill that came later is another month's."""
    kept = record.events(subject.site, Span(0, until_unix_ns), [EventKind.DRILL])
    done = (drill for drill in kept if drill.end is not None and drill.end.estimate_unix_ns <= until_unix_ns)
    return tuple(rehearsals(done, {plan.name: plan.drill_every_ns for plan in subject.uplinks}))


@dataclass(frozen=True, slots=True)
class _Month:
    """What of a report is the same for all lines."""

    subject: Subject
    period: Span
    now_unix_ns: int
    monthly: bool


def _judged_by(per: Per, of: Period) -> bool:
    """Whether a report of this period judges what is promised by such times: shorter ones have reports of their own."""
    return of.per is None or per.months >= of.per.months


def _within(per: Per, of: Period) -> bool:
    """Whether what is promised by such times is judged over the whole period: it is no longer than that."""
    return of.per is None or per.months <= of.per.months


def _longest(subject: Subject, judged: Collection[Per]) -> Per:
    """The longest time of the calendar that any promise is judged over."""
    promises = [promise for plan in subject.uplinks for one in plan.contracts for promise in one.promises]
    times = (promise.per for promise in promises if promise.per in judged)
    return max(times, key=lambda per: per.months, default=Per.MONTH)


def _has_begun(event: Event, now_unix_ns: int) -> bool:
    """Whether an event belongs into a report of this instant; announced work does before it begins."""
    return event.start.estimate_unix_ns < now_unix_ns or event.kind is EventKind.PLANNED_WORK


def _plans(subject: Subject, all_series: Sequence[Series]) -> list[UplinkPlan]:
    """The configured lines, then those that only the record knows: a line that was renamed keeps its past."""
    known = [plan.name for plan in subject.uplinks]
    recorded = {s.uplink for s in all_series if s.role is Role.LINE} - {*known, UNPINNED}
    return [*subject.uplinks, *(UplinkPlan(name=name) for name in sorted(recorded))]


def _by_target(
    all_series: Sequence[Series], uplink: str, role: Role, order: Sequence[str] = ()
) -> dict[str, list[Series]]:
    """The series of one uplink by target: those of *order* first, in that order."""
    found: dict[str, list[Series]] = {target: [] for target in order}
    for series in all_series:
        if series.uplink == uplink and series.role is role:
            found.setdefault(series.target, []).append(series)
    return {target: many for target, many in found.items() if many}


def _of_the_site(event: Event) -> bool:
    return event.uplink in {None, UNPINNED} or event.kind in _OF_SWITCHING


def _uplink(
    of: _Month, one: _Line, reached: Timeline, tests: list[SpeedTest], resolving: tuple[ResolverFindings, ...]
) -> UplinkReport:
    done = {key: collector.done() for key, collector in one.collectors.items()}
    period, codec = of.period, CODECS[of.subject.codec]
    states = reached.within(period)
    times = times_in(states, [period])
    own = [e for e in one.events if e.uplink == one.plan.name and e.kind not in SWITCHES | _OF_SWITCHING]
    outages = tuple(event for event in own if event.kind is EventKind.OUTAGE)
    separate = [s for s in spans_of(outages, {EventKind.OUTAGE}, of.now_unix_ns) if intersect([s], states.down)]
    clauses = tuple(_clause(of, one, within, reached, done, tests) for within in one.scopes)
    inside = [test for test in tests if period.start_unix_ns <= test.at_unix_ns < period.end_unix_ns]
    return UplinkReport(
        name=one.plan.name,
        contracts=tuple(c for c in one.plan.contracts if c.in_force(period, of.subject.zone)),
        states=states,
        times=times,
        to_come_ns=max(0, period.end_unix_ns - max(of.now_unix_ns, period.start_unix_ns)),
        availability=availability(times),
        means=mean_times(times, len(separate)),
        outages=outages,
        others=tuple(event for event in own if event.kind is not EventKind.OUTAGE),
        targets=tuple(_figures(target, done[Role.LINE, target, one.answering], codec) for target in one.line),
        names=tuple(_figures(target, done[Role.NAMES, target, one.answering], codec) for target in one.names),
        resolving=resolving,
        speed={direction: speeds(inside, direction) for direction in DIRECTIONS},
        best_bps=one.plan.best_bps,
        clauses=clauses,
        credits=_credits(of, one, states, clauses) if of.monthly else (),
    )


def _clause(
    of: _Month, one: _Line, within: Scope, states: Timeline, done: dict[tuple[Role, str, tuple[Span, ...]], Probes],
    tests: list[SpeedTest],
) -> ClauseResult:  # fmt: skip
    keep = one.keep(within)
    probes = [(target, done[role, target, keep]) for role, target in one.asked_of(within)]
    case = Case(
        within=within, subject=of.subject, plan=one.plan, states=states, events=one.told, probes=probes, tests=tests,
        now_unix_ns=of.now_unix_ns,
    )  # fmt: skip
    return judge(case)


def _credits(of: _Month, one: _Line, states: Timeline, clauses: Sequence[ClauseResult]) -> tuple[Owed, ...]:
    found = (
        owed(
            contract, of.subject, of.period, clauses=[clause for clause in clauses if clause.contract is contract],
            events=one.events, unobserved=states.unobserved, now_unix_ns=of.now_unix_ns,
        )
        for contract in one.plan.contracts
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


def _all_down_ns(uplinks: Sequence[UplinkReport]) -> int:
    if not uplinks:
        return 0
    common = uplinks[0].states.down
    for uplink in uplinks[1:]:
        common = intersect(common, uplink.states.down)
    return total_ns(common)
