"""Owed: what each contract pays back for the month, both what is sure and what it may come to."""

from collections.abc import Iterable, Sequence
from datetime import date
from fractions import Fraction

from wanwatch.core.account.calendar import day_span, local_time
from wanwatch.core.account.clauses import counted_out
from wanwatch.core.account.credits import Terms, credit, step_for
from wanwatch.core.account.figures import UNKNOWN, Figure
from wanwatch.core.account.spans import intersect, subtract, union
from wanwatch.core.account.spells import Spell
from wanwatch.core.account.working import paid_days
from wanwatch.core.model import Event, EventKind, Span
from wanwatch.report.subject import Contract, DayTerms, Subject
from wanwatch.report.verdicts import ClauseResult, Owed


def owed(
    contract: Contract, subject: Subject, period: Span, *, clauses: Iterable[ClauseResult], events: Sequence[Event],
    unobserved: Sequence[Span], now_unix_ns: int,
) -> Owed | None:  # fmt: skip
    """Reckon what a contract owes for *period*; None where it says nothing of credits.

    Its first clause of availability gives the share: its high bound what is owed for sure, its low bound what it may
    come to. A clause that is judged over a longer time than the month counts in the month in which that time ends, or
    the contract before it.

    Args:
        contract: The contract.
        subject: The site.
        period: The month.
        clauses: What became of the contract's clauses.
        events: The line's events.
        unobserved: What was not observed of the line, or has not come yet.
        now_unix_ns: The future begins here.
    """
    if contract.terms is None:
        return None
    of_availability = (one for one in clauses if one.promise.measure == "availability")
    due = (one.found for one in of_availability if one.period.end_unix_ns <= period.end_unix_ns)
    found = next(due, UNKNOWN)
    sure, perhaps = _days(contract, subject, period, events, unobserved, now_unix_ns)
    return Owed(
        contract=contract,
        sure=credit(contract.terms, found.high, sure),
        perhaps=credit(contract.terms, found.low, perhaps),
        sure_share=_share(contract.terms, found.high),
        perhaps_share=_share(contract.terms, found.low),
    )


def _share(terms: Terms, availability: Figure | None) -> Fraction | None:
    step = step_for(terms.steps, availability)
    return step.share_of_fee if step else None


def _days(
    contract: Contract, subject: Subject, period: Span, events: Sequence[Event], unobserved: Sequence[Span],
    now_unix_ns: int,
) -> tuple[list[date], list[date]]:  # fmt: skip
    """Return the days of the month that are paid for surely, and perhaps: as if unobserved time had been an outage."""
    terms = contract.days
    if terms is None:
        return [], []
    mine = [e for e in events if e.kind is EventKind.OUTAGE and e.domain not in terms.counts_out]
    spells = [Spell.of(event, now_unix_ns) for event in mine]
    out = counted_out(terms.counts_out, events, now_unix_ns)
    blind = union(unobserved)
    seen = [piece for spell in spells for piece in subtract([spell.surely], blind)]
    runs = union([spell.perhaps for spell in spells], blind)
    in_force = contract.in_force(period, subject.zone)
    sure, perhaps = (_paid(spans, out, terms, subject, in_force) for spans in (seen, runs))
    return sure, perhaps


def _paid(
    spans: Iterable[Span], out: Sequence[Span], terms: DayTerms, subject: Subject, in_force: Sequence[Span]
) -> list[date]:  # fmt: skip
    """Return each day once, of those that lie in the contract's part of the month and are not wholly counted out.

    What is counted out in the midst of an outage does not begin it anew.
    """
    paid: set[date] = set()
    for pieces in filter(None, (subtract([span], out) for span in spans)):
        edges = (pieces[0].start_unix_ns, pieces[-1].end_unix_ns)
        first, last = (local_time(at, subject.zone).date() for at in edges)
        mine = intersect(pieces, in_force)
        days = paid_days(first, last, subject.working, grace=terms.after)
        paid.update(day for day in days if intersect(mine, [day_span(day, subject.zone)]))
    return sorted(paid)
