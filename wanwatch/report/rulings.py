"""Rulings: each promise of a contract, with the figure that it is judged by."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import tzinfo
from fractions import Fraction
from typing import Final

import numpy as np

from wanwatch.config.remarks import DECIDED
from wanwatch.core.account.availability import Times, availability, times_in
from wanwatch.core.account.calendar import daily_hours
from wanwatch.core.account.clauses import Because, Promise, Ruling, Verdict, counted_out, rule
from wanwatch.core.account.figures import (
    UNKNOWN,
    Bounded,
    Figure,
    delay_bounds,
    loss_bounds,
    missing_probes,
)
from wanwatch.core.account.spans import intersect, subtract, total_ns
from wanwatch.core.account.timeline import Timeline
from wanwatch.core.model import Event, Span
from wanwatch.report.samples import Probes, ranked
from wanwatch.report.sequence import Words
from wanwatch.report.subject import UplinkPlan
from wanwatch.report.values import ClauseResult

DELAYS: Final = frozenset({"delay", "delay-variation"})
"""Measures whose figure is a statistic over single round-trip times."""
_US: Final = Fraction(1, 1_000_000)


@dataclass(frozen=True, slots=True, kw_only=True)
class Scope:
    """The time that counts for a promise, and how much of it has not come yet."""

    promise: Promise
    counted: tuple[Span, ...]
    to_come_ns: int


def scope(
    promise: Promise, plan: UplinkPlan, *, period: Span, zone: tzinfo, events: Iterable[Event], now_unix_ns: int
) -> Scope:
    """Return the time that counts: the contract's own, in its hours, without what it counts out."""
    spans = plan.contract.in_force(period, zone) if plan.contract else (period,)
    if promise.hours_min is not None:
        spans = intersect(spans, daily_hours(period, zone, *promise.hours_min))
    counted = subtract(spans, counted_out(promise, events, now_unix_ns))
    future = Span(now_unix_ns, max(now_unix_ns, period.end_unix_ns))
    return Scope(promise=promise, counted=counted, to_come_ns=total_ns(intersect(counted, [future])))


def judge(within: Scope, plan: UplinkPlan, states: Timeline, probes: Sequence[tuple[str, Probes]]) -> ClauseResult:
    """Judge one promise.

    Args:
        within: The promise and its time.
        plan: Its line.
        states: The line's states.
        probes: The probes in that time, of each target that the promise speaks of.
    """
    promise, times = within.promise, times_in(states, within.counted)
    samples = sum(p.asked for _, p in probes)
    ground = _no_ground(within, probes)
    found = UNKNOWN if ground else _found(promise, plan, times, probes)
    ruling = Ruling(Verdict.UNDECIDED, ground) if ground else rule(promise, found, running=within.to_come_ns > 0)
    return ClauseResult(
        promise=promise, ruling=ruling, found=found, samples=samples, times=times, to_come_ns=within.to_come_ns
    )


def _no_ground(within: Scope, probes: Sequence[tuple[str, Probes]]) -> Because | None:
    """Say why there is nothing to judge by, if so."""
    if not within.counted:
        return Because.NOT_IN_FORCE
    if within.promise.measure not in DECIDED:
        return Because.NOT_MEASURED
    if within.promise.measure in DELAYS and any(p.raw_gone for _, p in probes):
        return Because.RAW_GONE
    return None


def _found(promise: Promise, plan: UplinkPlan, times: Times, probes: Sequence[tuple[str, Probes]]) -> Bounded:
    if promise.measure == "availability":
        return availability(times)
    asked = sum(p.asked for _, p in probes)
    missing = missing_probes(asked, times.answering_ns, times.unobserved_ns)
    if missing is None:
        return UNKNOWN
    if promise.measure == "loss":
        return loss_bounds(sum(p.missed for _, p in probes), asked, missing)
    for target, one in probes:  # a clause of delay names its one target
        figures = one.ordered if promise.measure == "delay" else one.variation
        return _delay(promise.statistic or "", figures, one.unanswered, missing, plan.timeout_ns(target))
    return UNKNOWN


def _delay(statistic: str, ordered: Words, unanswered: int, missing: int, timeout_ns: int | None) -> Bounded:
    """Return a statistic of delay, or of its variation, in seconds.

    The mean and the largest are taken over answered probes (ITU-T Y.1540, from memory: transfer delay is that of
    packets that arrived); a missing one could have taken its whole waiting time, or have varied by as much.
    """
    if statistic in {"mean", "max"}:
        longest_us = None if timeout_ns is None else Fraction(timeout_ns, 1000)
        found = (_mean if statistic == "mean" else _largest)(ordered, missing, longest_us)
    else:
        found = delay_bounds(ranked(ordered, unanswered), Fraction(statistic.removeprefix("p")) / 100, missing)
    return Bounded(value=_s(found.value), low=_s(found.low), high=_s(found.high))


def _mean(ordered: Words, missing: int, longest_us: Fraction | None) -> Bounded:
    count = len(ordered)
    if count == 0:
        return UNKNOWN
    total = int(ordered.sum(dtype=np.uint64))
    longest = _longest_sum(missing, longest_us)
    return Bounded(
        value=Fraction(total, count),
        low=Fraction(total, count + missing),
        high=None if longest is None else (total + longest) / (count + missing),
    )


def _longest_sum(missing: int, longest_us: Fraction | None) -> Fraction | None:
    """Return what *missing* probes add up to at most; None where their waiting time is not known."""
    if missing == 0:
        return Fraction(0)
    return None if longest_us is None else missing * longest_us


def _largest(ordered: Words, missing: int, longest_us: Fraction | None) -> Bounded:
    if len(ordered) == 0:
        return UNKNOWN
    largest = Fraction(int(ordered[-1]))
    return Bounded(value=largest, low=largest, high=longest_us if missing else largest)


def _s(figure: Figure | None) -> Figure | None:
    """Turn microseconds into seconds; infinity stays."""
    return figure * _US if isinstance(figure, Fraction) else figure
