"""Promises of probes: delay, its variation, loss, and answers of resolvers."""

from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction
from typing import Final

import numpy as np

from wanwatch.core.account.availability import Times, times_in
from wanwatch.core.account.clauses import Because, Ruling, Verdict
from wanwatch.core.account.figures import UNKNOWN, Bounded, Figure, delay_bounds, loss_bounds, missing_probes
from wanwatch.core.account.spans import intersect, subtract
from wanwatch.core.account.timeline import probed_spans
from wanwatch.report.rulings.case import Case, Found, share
from wanwatch.report.samples import Want, ranked
from wanwatch.report.sequence import Words

WANTED: Final[Mapping[str, Want]] = {
    "availability": Want.COUNTS,
    "delay": Want.DELAYS,
    "delay-variation": Want.VARIATION,
    "loss": Want.COUNTS,
    "names": Want.COUNTS,
}
"""What each measure of a clause wants of single probes; the others rest on no probes."""
_US: Final = Fraction(1, 1_000_000)
_RAW_GONE: Final = Ruling(Verdict.UNDECIDED, Because.RAW_GONE)


def loss(case: Case) -> Found:
    """Find the share of probes that got no answer in time."""
    asked = sum(p.asked for _, p in case.probes)
    times = _times(case)
    missing = _missing(times, asked)
    missed = sum(p.missed for _, p in case.probes)
    figure = UNKNOWN if missing is None else loss_bounds(missed, asked, missing)
    return Found(figure=figure, samples=asked, times=times)


def names(case: Case) -> Found:
    """Find the share of questions that resolvers answered; a refusal is no answer."""
    asked = sum(p.asked + p.refused for _, p in case.probes)
    answered = sum(p.asked - p.missed for _, p in case.probes)
    missing = _missing(case.times, asked)
    if missing is None:
        return Found(figure=UNKNOWN, samples=asked)
    low, high = share(answered, asked + missing), share(answered + missing, asked + missing)
    return Found(figure=Bounded(value=share(answered, asked), low=low, high=high), samples=asked)


def delay(case: Case) -> Found:
    """Find a statistic of round-trip times."""
    return _statistic(case, of_variation=False)


def variation(case: Case) -> Found:
    """Find the same of how far each of them lies above the least of its hour."""
    return _statistic(case, of_variation=True)


def _times(case: Case) -> Times:
    """The states of the time that counts; of a promise about one target, only while that was asked: it may be new."""
    plan = case.plan.target(case.within.promise.target)
    if plan is None:
        return case.times
    asked = probed_spans((run for _, p in case.probes for run in p.probed), plan.reach_minutes)
    up, impaired = intersect(case.states.up, asked), intersect(case.states.impaired, asked)
    unobserved = subtract(case.within.counted, [*up, *impaired, *case.states.down])
    return times_in(replace(case.states, up=up, impaired=impaired, unobserved=unobserved), case.within.counted)


def _missing(times: Times, asked: int) -> int | None:
    """How many probes the unobserved time would have held; None if that cannot be told."""
    return missing_probes(asked, times.answering_ns, times.unobserved_ns)


def _statistic(case: Case, *, of_variation: bool) -> Found:
    samples = sum(p.asked for _, p in case.probes)
    times = _times(case)
    missing = _missing(times, samples)
    if any(p.raw_gone for _, p in case.probes):
        return Found(figure=UNKNOWN, samples=samples, ruling=_RAW_GONE, times=times)
    figure = UNKNOWN
    for target, one in case.probes if missing is not None else ():  # a clause of delay names its one target
        figures = one.variation if of_variation else one.ordered
        statistic = case.within.promise.statistic or ""
        plan = case.plan.target(target)
        timeout_ns = plan.timeout_ns if plan else None
        figure = _delay(statistic, figures, one.unanswered, missing or 0, timeout_ns)
    return Found(figure=figure, samples=samples, times=times)


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
