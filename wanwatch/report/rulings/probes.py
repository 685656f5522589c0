"""Promises of probes: delay, its variation, loss, and answers of resolvers."""

from fractions import Fraction
from typing import Final

import numpy as np

from wanwatch.core.account.clauses import Because, Ruling, Verdict
from wanwatch.core.account.figures import UNKNOWN, Bounded, Figure, delay_bounds, loss_bounds, missing_probes
from wanwatch.report.rulings.case import Case, Found, share
from wanwatch.report.samples import ranked
from wanwatch.report.sequence import Words

_US: Final = Fraction(1, 1_000_000)
_RAW_GONE: Final = Ruling(Verdict.UNDECIDED, Because.RAW_GONE)


def loss(case: Case) -> Found:
    """Find the share of probes that got no answer in time."""
    asked = sum(p.asked for _, p in case.probes)
    missing = _missing(case, asked)
    missed = sum(p.missed for _, p in case.probes)
    return Found(figure=UNKNOWN if missing is None else loss_bounds(missed, asked, missing), samples=asked)


def names(case: Case) -> Found:
    """Find the share of questions that resolvers answered; a refusal is no answer."""
    asked = sum(p.asked + p.refused for _, p in case.probes)
    answered = sum(p.asked - p.missed for _, p in case.probes)
    missing = _missing(case, asked)
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


def _missing(case: Case, asked: int) -> int | None:
    """How many probes the unobserved time would have held; None if that cannot be told."""
    times = case.times
    return missing_probes(asked, times.answering_ns, times.unobserved_ns)


def _statistic(case: Case, *, of_variation: bool) -> Found:
    samples = sum(p.asked for _, p in case.probes)
    missing = _missing(case, samples)
    if any(p.raw_gone for _, p in case.probes):
        return Found(figure=UNKNOWN, samples=samples, ruling=_RAW_GONE)
    figure = UNKNOWN
    for target, one in case.probes if missing is not None else ():  # a clause of delay names its one target
        figures = one.variation if of_variation else one.ordered
        statistic = case.within.promise.statistic or ""
        figure = _delay(statistic, figures, one.unanswered, missing or 0, case.plan.timeout_ns(target))
    return Found(figure=figure, samples=samples)


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
