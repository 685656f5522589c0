"""Month: reads the record once and accounts for every line of a site."""

from collections.abc import Collection, Sequence
from typing import Final

from wanwatch.core.account.calendar import Per, calendar_span
from wanwatch.core.account.period import Period
from wanwatch.core.account.spans import intersect, total_ns, union
from wanwatch.core.account.speed_tests import read_tests
from wanwatch.core.account.timeline import probed_spans, timeline
from wanwatch.core.drill import Rehearsal, rehearsals
from wanwatch.core.incident import incidents_in
from wanwatch.core.model import SWITCHES, UNPINNED, Event, EventKind, MeasurementKind, Role, Span
from wanwatch.core.ports import Record
from wanwatch.report.accounting import accounts_of, path_of
from wanwatch.report.gathering import gather
from wanwatch.report.lines import Line, by_target, plans_of
from wanwatch.report.resolving import resolving_in
from wanwatch.report.rulings import scope
from wanwatch.report.subject import Subject, UplinkPlan
from wanwatch.report.uplinks import OF_SWITCHING, Told, uplink_report
from wanwatch.report.values import MonthReport, UplinkReport

_LISTED_APART: Final = SWITCHES | {EventKind.DRILL}


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
        detailed: Whether delays are told hour by hour, and what the order of probes and each minute by itself tell; no
            promise rests on them.
        ending: Whether promises are left out whose time goes on beyond the period; they look back the furthest.
    """
    period = of.span
    over = {per: period if _within(per, of) else calendar_span(per, of.year, of.month, subject.zone) for per in Per}
    judged = [per for per in Per if _judged_by(per, of) and not (ending and _goes_on(per, over[per], subject, period))]
    reach = over[_longest(subject, judged)]
    until_unix_ns = min(now_unix_ns, period.end_unix_ns)  # a quarter is judged so far by the reports of its months
    told = [e for e in record.events(subject.site, reach) if _has_begun(e, until_unix_ns)]
    events = [e for e in record.events(subject.site, period) if _has_begun(e, now_unix_ns)]
    watched = record.watched(subject.site, reach)
    all_series = record.series(subject.site)

    def line(plan: UplinkPlan) -> Line:
        mine = [event for event in told if event.uplink in {plan.name, None}]
        seen = timeline(reach, plan.name, events=told, watched=watched, probed=[reach], now_unix_ns=until_unix_ns)
        reached = union(seen.up, seen.impaired)
        at_work = Line(
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
            line=by_target(all_series, plan.name, Role.LINE, [target.name for target in plan.targets]),
            names=by_target(all_series, plan.name, Role.NAMES),
        )
        at_work.open_collectors(detailed=detailed)
        return at_work

    lines = [line(plan) for plan in plans_of(subject, all_series)]
    collectors = {series: mine for one in lines for series, mine in one.of_series()}
    collectors |= {series: [] for series in path_of(all_series)}
    seen_so_far = Span(reach.start_unix_ns, max(reach.start_unix_ns, until_unix_ns))
    minutes = gather(record, subject.site, seen_so_far, collectors, [period] if detailed else ())
    known = {plan.name for plan in subject.uplinks}
    # Inspections are counted by the month of the calendar.
    resolving = resolving_in(record, subject, of.year, of.month) if of.per is Per.MONTH else {}
    tests = [
        test for kept in record.measurements(subject.site, reach, MeasurementKind.SPEED) for test in read_tests(kept)
    ]
    told_of = Told(subject, period, now_unix_ns, monthly=of.per is Per.MONTH)
    uplinks = []
    for one in lines:
        seen = [run for many in one.line.values() for series in many for run in minutes[series].probed]
        if seen or one.plan.name in known:
            probed = probed_spans(seen, one.plan.reach_minutes)
            states = timeline(
                reach, one.plan.name, events=told, watched=watched, probed=probed, now_unix_ns=until_unix_ns
            )
            mine = [test for test in tests if test.uplink == one.plan.name and test.at_unix_ns < until_unix_ns]
            found = resolving.get(one.plan.name, ())
            uplinks.append(uplink_report(told_of, one.done(minutes), states, mine, found))
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
            subject,
            uplinks,
            minutes,
            period=period,
            events=events,
            watched=watched,
            now_unix_ns=now_unix_ns,
            by_interval=detailed,
        ),
    )


def _rehearsals(record: Record, subject: Subject, until_unix_ns: int) -> tuple[Rehearsal, ...]:
    """As they stood then: a drill that came later is another month's."""
    kept = record.events(subject.site, Span(0, until_unix_ns), [EventKind.DRILL])
    done = (drill for drill in kept if drill.end is not None and drill.end.estimate_unix_ns <= until_unix_ns)
    return tuple(rehearsals(done, {plan.name: plan.drill_every_ns for plan in subject.uplinks}))


def _judged_by(per: Per, of: Period) -> bool:
    """Whether a report of this period judges what is promised by such times: shorter ones have reports of their own."""
    return of.per is None or per.months >= of.per.months


def _within(per: Per, of: Period) -> bool:
    """Whether what is promised by such times is judged over the whole period: it is no longer than that."""
    return of.per is None or per.months <= of.per.months


def _goes_on(per: Per, over: Span, subject: Subject, period: Span) -> bool:
    """Whether the time of what is promised by such times goes on beyond the period for all who still promise it."""
    contracts = [one for plan in subject.uplinks for one in plan.contracts if one.in_force(period, subject.zone)]
    promising = [one for one in contracts if any(promise.per is per for promise in one.promises)]
    ends = (one.in_force(over, subject.zone)[-1].end_unix_ns for one in promising)
    return all(end > period.end_unix_ns for end in ends)


def _longest(subject: Subject, judged: Collection[Per]) -> Per:
    """The longest time of the calendar that any promise is judged over."""
    promises = [promise for plan in subject.uplinks for one in plan.contracts for promise in one.promises]
    times = (promise.per for promise in promises if promise.per in judged)
    return max(times, key=lambda per: per.months, default=Per.MONTH)


def _has_begun(event: Event, now_unix_ns: int) -> bool:
    """Whether an event belongs into a report of this instant; announced work does before it begins."""
    return event.start.estimate_unix_ns < now_unix_ns or event.kind is EventKind.PLANNED_WORK


def _of_the_site(event: Event) -> bool:
    return event.uplink in {None, UNPINNED} or event.kind in OF_SWITCHING


def _all_down_ns(uplinks: Sequence[UplinkReport]) -> int:
    if not uplinks:
        return 0
    common = uplinks[0].states.down
    for uplink in uplinks[1:]:
        common = intersect(common, uplink.states.down)
    return total_ns(common)
