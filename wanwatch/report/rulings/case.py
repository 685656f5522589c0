"""Case: a promise, the time that counts for it, and all that is known of that time."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import tzinfo
from fractions import Fraction

from wanwatch.core.account.availability import Times, times_in
from wanwatch.core.account.calendar import daily_hours
from wanwatch.core.account.clauses import Promise, Ruling, counted_out
from wanwatch.core.account.figures import Bounded
from wanwatch.core.account.spans import intersect, subtract, total_ns
from wanwatch.core.account.speed_tests import SpeedTest
from wanwatch.core.account.timeline import Timeline
from wanwatch.core.model import Event, Span
from wanwatch.report.samples import Probes
from wanwatch.report.subject import Contract, Subject, UplinkPlan


@dataclass(frozen=True, slots=True, kw_only=True)
class Scope:
    """The time that counts for a promise, and how much of it has not come yet.

    Attributes:
        promise: The promise.
        contract: Whose.
        period: The time of the calendar that it is judged over.
        in_force: The contract's part of it.
        counted: Of that, the promise's hours, without what it counts out.
        out: What it counts out, within and beyond that time.
        to_come_ns: How much of the counted time has not come yet.
    """

    promise: Promise
    contract: Contract
    period: Span
    in_force: tuple[Span, ...]
    counted: tuple[Span, ...]
    out: tuple[Span, ...]
    to_come_ns: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """What one promise is judged by.

    Attributes:
        within: The promise and its time.
        subject: The site.
        plan: Its line.
        states: The line's states.
        events: The line's events and those of the site.
        probes: The probes in the time that counts, of each target or resolver that the promise speaks of.
        tests: The line's speed tests.
        now_unix_ns: The future begins here.
    """

    within: Scope
    subject: Subject
    plan: UplinkPlan
    states: Timeline
    events: Sequence[Event]
    probes: Sequence[tuple[str, Probes]]
    tests: Sequence[SpeedTest]
    now_unix_ns: int

    @property
    def times(self) -> Times:
        """The states of the time that counts."""
        return times_in(self.states, self.within.counted)

    @property
    def unobserved(self) -> tuple[Span, ...]:
        """What of the time that counts was not observed, or has not come yet."""
        return intersect(self.states.unobserved, self.within.counted)

    def counts_at(self, unix_ns: int) -> bool:
        """Whether an instant lies in the time that counts."""
        return any(span.start_unix_ns <= unix_ns < span.end_unix_ns for span in self.within.counted)


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """What a case comes to.

    Attributes:
        figure: The figure with its bounds, in the unit of the promise's limit.
        samples: How many probes, tests or events it rests on.
        evidence: Names of the events and tests that show it.
        ruling: The verdict, where it does not follow from the bounds.
        needed: How many further tests decide it at least; None where none do, or where none are needed.
        times: The states of the time that counts, where they are not the line's own.
    """

    figure: Bounded
    samples: int = 0
    evidence: tuple[str, ...] = ()
    ruling: Ruling | None = None
    needed: int | None = None
    times: Times | None = None


def scope(
    promise: Promise, contract: Contract, subject: Subject, *, period: Span, events: Iterable[Event], now_unix_ns: int
) -> Scope:  # fmt: skip
    """Return the time of *period* that counts: the contract's, in the promise's hours, without what it counts out."""
    in_force = contract.in_force(period, subject.zone)
    out = counted_out(promise.counts_out, events, now_unix_ns)
    counted = subtract(intersect(in_force, hours(promise, subject, period, subject.zone)), out)
    future = Span(now_unix_ns, max(now_unix_ns, period.end_unix_ns))
    to_come_ns = total_ns(intersect(counted, [future]))
    return Scope(
        promise=promise, contract=contract, period=period, in_force=in_force, counted=counted, out=out,
        to_come_ns=to_come_ns,
    )  # fmt: skip


def hours(promise: Promise, subject: Subject, span: Span, zone: tzinfo) -> tuple[Span, ...]:
    """Return what of *span* lies in the promise's hours."""
    if promise.working:
        return subject.working.within(span, zone)
    return (span,) if promise.hours_min is None else daily_hours(span, zone, *promise.hours_min)


def share(part: int, whole: int) -> Fraction | None:
    """Return a ratio; None of nothing."""
    return Fraction(part, whole) if whole else None
