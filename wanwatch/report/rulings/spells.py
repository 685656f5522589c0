"""Promises of troubles: how long each may last, how many there may be, how long a failover may cut people off."""

import math
from collections.abc import Iterable, Sequence
from fractions import Fraction
from typing import Final

from wanwatch.core.account import spells
from wanwatch.core.account.figures import UNKNOWN, Bounded, Figure
from wanwatch.core.account.spans import intersect, subtract
from wanwatch.core.account.spells import Spell
from wanwatch.core.model import NS_PER_S, Event, EventKind, Span
from wanwatch.report.rulings.case import Case, Found, hours

_AWAY: Final = frozenset({EventKind.FAILOVER, EventKind.NEEDLESS_FAILOVER, EventKind.BLACKOUT})


def repair(case: Case) -> Found:
    """Find how long the longest outage was, in the promise's hours; one that began in the time counts whole."""
    broken = of_kind(case, EventKind.OUTAGE)
    if case.times.observed_ns == 0:
        return Found(figure=UNKNOWN)
    figure = spells.longest(_spells(case, broken), _measured(case, broken), _blind(case))
    return Found(figure=figure, samples=len(broken), evidence=ids(broken))


def outages(case: Case) -> Found:
    """Find how many outages there were that are longer than what the promise lets pass."""
    promise = case.within.promise
    longer_than_ns = promise.longer_than_ns
    broken = of_kind(case, EventKind.OUTAGE)
    if case.times.observed_ns == 0:
        return Found(figure=UNKNOWN)
    measured = _measured(case, broken)
    figure = spells.number(
        _spells(case, broken), measured, _blind(case), longer_than_ns=longer_than_ns, least=case.subject.least
    )
    long = [e for e in broken if spells.within(Spell.of(e, case.now_unix_ns).likely, measured) > longer_than_ns]
    return Found(figure=figure, samples=len(long), evidence=ids(long))


def failover(case: Case) -> Found:
    """Find the longest time without answer around a switch away from the line, or while none came though it should.

    A switch whose interruption was not observed could have cut people off for any length.
    """
    away = [e for e in case.events if e.kind in _AWAY and e.from_uplink == case.plan.name and _begins(case, e)]
    stuck = of_kind(case, EventKind.STUCK_FAILOVER)
    if case.times.observed_ns == 0:
        return Found(figure=UNKNOWN)
    timed = [Fraction(str(e.interruption_s)) for e in away if e.interruption_s is not None]
    without = spells.longest(_spells(case, stuck), _measured(case, stuck), _blind(case))
    untimed: Figure = math.inf if len(timed) < len(away) else Fraction(0)
    value, low, high = (
        max([Fraction(0), *timed, end or Fraction(0)]) for end in (without.value, without.low, without.high)
    )
    figure = Bounded(value=value, low=low, high=max(high, untimed))
    return Found(figure=figure, samples=len(away) + len(stuck), evidence=ids([*away, *stuck]))


def of_kind(case: Case, kind: EventKind) -> list[Event]:
    """Return the line's events of this kind that began while the contract was in force, unless wholly counted out."""
    mine = [e for e in case.events if e.kind is kind and e.uplink == case.plan.name and _begins(case, e)]
    return [e for e in mine if subtract([Spell.of(e, case.now_unix_ns).likely], case.within.out)]


def ids(events: Iterable[Event]) -> tuple[str, ...]:
    """Return the names of events."""
    return tuple(event.id for event in events)


def _begins(case: Case, event: Event) -> bool:
    """Whether an event began in time; a switch counts only where its own instant does."""
    begun = event.start.estimate_unix_ns
    if event.kind in _AWAY:
        return case.counts_at(begun)
    return any(span.start_unix_ns <= begun < span.end_unix_ns for span in case.within.in_force)


def _spells(case: Case, events: Iterable[Event]) -> list[Spell]:
    return [Spell.of(event, case.now_unix_ns) for event in events]


def _measured(case: Case, events: Sequence[Event]) -> tuple[Span, ...]:
    """The hours in which lengths are measured: beyond the period's end where an outage goes on beyond it."""
    period = case.within.period
    last = max([period.end_unix_ns, *(spell.perhaps.end_unix_ns for spell in _spells(case, events))])
    span = Span(period.start_unix_ns - NS_PER_S * 3600, last)  # an outage's earliest begin may lie before its estimate
    return subtract(hours(case.within.promise, case.subject, span, case.subject.zone), case.within.out)


def _blind(case: Case) -> tuple[Span, ...]:
    return intersect(case.states.unobserved, case.within.in_force)
