"""Promises: clauses of the configuration with exact limits in base units, each with a name of its own."""

from collections.abc import Iterable
from dataclasses import replace
from fractions import Fraction
from typing import Final

from wanwatch.config import contract as given
from wanwatch.config.apart import told_apart
from wanwatch.config.units import Hours, show_rate, show_share
from wanwatch.core.account.calendar import Per
from wanwatch.core.account.clauses import Promise
from wanwatch.core.model import NS_PER_S

_UNITS: Final = {"h": 3600 * NS_PER_S, "min": 60 * NS_PER_S, "s": NS_PER_S, "ms": 10**6, "us": 10**3, "ns": 1}
_PER: Final = {Per.MONTH: "", Per.QUARTER: ", over the quarter", Per.YEAR: ", over the year"}


def promise_of(clause: given.Clause) -> Promise:
    """Return a clause of the configuration as a promise with its exact limit in base units."""
    promise = replace(_promise(clause), counts_out=frozenset(clause.counts_out), per=Per(clause.per))
    hours, working = getattr(clause, "hours", None), getattr(clause, "within", "always") != "always"
    text = f"{promise.text}{_when(hours)}{', in working time' if working else ''}{_PER[promise.per]}"
    return replace(promise, text=text, hours_min=hours and (hours.start_min, hours.end_min), working=working)


def names_of(promises: Iterable[Promise]) -> tuple[str, ...]:
    """Return a name for each promise of one contract, such as `delay near p95 at most 15 ms`; no two are alike."""
    return told_apart(" ".join(filter(None, (one.measure, one.target, one.text))) for one in promises)


def hours_of(promise: Promise) -> str:
    """Return the time in which a promise counts: `always`, `working-hours`, or such as `20:00-22:00`."""
    if promise.hours_min is not None:
        return "-".join(_clock(minutes) for minutes in promise.hours_min)
    return "working-hours" if promise.working else "always"


def _promise(clause: given.Clause) -> Promise:
    match clause:
        case given.AvailabilityClause() | given.NamesClause():
            text, limit = f"at least {show_share(clause.at_least)}", Fraction(clause.at_least)
            return Promise(measure=clause.measure, text=text, limit=limit, at_least=True)
        case given.RepairClause() | given.FailoverClause():
            text, limit = f"at most {_length(clause.at_most_ns)}", Fraction(clause.at_most_ns, NS_PER_S)
            return Promise(measure=clause.measure, text=text, limit=limit)
        case given.DelayClause():
            text = f"{clause.statistic} at most {_length(clause.at_most_ns)}"
            limit = Fraction(clause.at_most_ns, NS_PER_S)
            return Promise(
                measure=clause.measure, text=text, limit=limit, target=clause.target, statistic=clause.statistic
            )
        case given.LossClause():
            text, limit = f"at most {show_share(clause.at_most)}", Fraction(clause.at_most)
            return Promise(measure=clause.measure, text=text, limit=limit, target=clause.target)
        case given.OutagesClause():
            return _outages(clause)
        case given.SpeedClause():
            return _speed(clause)


def _outages(clause: given.OutagesClause) -> Promise:
    longer = clause.longer_than_ns or 0
    text = f"at most {clause.at_most}" + (f" longer than {_length(longer)}" if longer else "")
    return Promise(measure=clause.measure, text=text, limit=Fraction(clause.at_most), longer_than_ns=longer)


def _speed(clause: given.SpeedClause) -> Promise:
    kind, bps, share = clause.promised
    text = f"{kind} {show_rate(bps)} in {show_share(share)} of tests"
    limit = Fraction(share)
    return Promise(measure=clause.measure, text=text, limit=limit, at_least=True, statistic=kind, speed_bps=bps)


def _length(length_ns: int) -> str:
    """Say a limit exactly, in the largest unit up to hours that holds it whole: a contract says 24 h, not a day."""
    return next(f"{length_ns // ns} {unit}" for unit, ns in _UNITS.items() if length_ns % ns == 0)


def _when(hours: Hours | None) -> str:
    if hours is None:
        return ""
    return f", {' to '.join(_clock(minutes) for minutes in hours)}"


def _clock(minutes: int) -> str:
    return f"{minutes // 60:02d}:{minutes % 60:02d}"
