"""Clauses: whether a promise of a contract was kept.

One rule for every measure: a verdict stands only if it stands whatever the unobserved time was like. The figure's
two bounds say what that time could have made of it. Both keep the limit: met. Both miss it: breached. Otherwise
undecided, with the reason. A month that still runs has its future among the unobserved time, so it can be breached
early, once nothing that may still come can mend it, and is met only when it can no longer be missed.

Source: the rule is ours, with no published source; it claims less than a rule that ignores what was not seen.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from typing import Final

from wanwatch.core.account.calendar import Per
from wanwatch.core.account.figures import Bounded, Figure
from wanwatch.core.account.spans import union
from wanwatch.core.account.timeline import event_span
from wanwatch.core.model import Event, EventKind, Span
from wanwatch.core.planned import counts


class Verdict(StrEnum):
    """What became of a clause."""

    MET = "met"
    BREACHED = "breached"
    UNDECIDED = "undecided"


class Because(StrEnum):
    """Why a verdict is what it is."""

    HOLDS_ANYWAY = "holds-anyway"
    FAILS_ANYWAY = "fails-anyway"
    STILL_RUNNING = "still-running"
    COULD_TIP = "could-tip"
    NOTHING_SEEN = "nothing-seen"
    TESTS_SHOW = "tests-show"
    TOO_FEW_TESTS = "too-few-tests"
    BEYOND_HANDOFF = "beyond-handoff"
    RAW_GONE = "raw-gone"
    NOT_IN_FORCE = "not-in-force"


@dataclass(frozen=True, slots=True, kw_only=True)
class Promise:
    """One clause as the contract has it.

    Attributes:
        measure: What is measured, by its name in the configuration.
        text: The limit as a person wrote it, such as `at least 99.9%`.
        limit: The limit in base units: a ratio, seconds or a number.
        at_least: True where the figure has to reach the limit, False where it must not exceed it.
        target: The target that it speaks of, or None for any.
        statistic: For `delay`: `mean`, `max`, or a percentile such as `p95`; for a speed `floor`, `usual` or `peak`.
        speed_bps: For a speed: what the share `limit` of the tests must reach, in bits a second.
        longer_than_ns: For `outages`: only longer ones count.
        hours_min: The hours of each day that it covers, in minutes from midnight; None for all day.
        working: Whether only working time counts.
        per: The time of the calendar that it is judged over.
        counts_out: What is taken out of both sides: `planned-work`, `drill`, or a fault domain such as `our-side`.
    """

    measure: str
    text: str
    limit: Fraction
    at_least: bool = False
    target: str | None = None
    statistic: str | None = None
    speed_bps: int | None = None
    longer_than_ns: int = 0
    hours_min: tuple[int, int] | None = None
    working: bool = False
    per: Per = Per.MONTH
    counts_out: frozenset[str] = frozenset()

    def kept_by(self, figure: Figure | None) -> bool | None:
        """Say whether a figure keeps the limit; None where there is no figure."""
        if figure is None:
            return None
        return figure >= self.limit if self.at_least else figure <= self.limit


@dataclass(frozen=True, slots=True)
class Ruling:
    """A verdict and its ground."""

    verdict: Verdict
    because: Because


_RULES: Final = {
    (True, True): Ruling(Verdict.MET, Because.HOLDS_ANYWAY),
    (False, False): Ruling(Verdict.BREACHED, Because.FAILS_ANYWAY),
}
"""By what the low and the high bound say; every other pair is undecided."""


def rule(promise: Promise, found: Bounded, *, running: bool) -> Ruling:
    """Judge a promise by a bounded figure; *running* says that the period is not over."""
    if found.value is None:
        return Ruling(Verdict.UNDECIDED, Because.NOTHING_SEEN)
    undecided = Ruling(Verdict.UNDECIDED, Because.STILL_RUNNING if running else Because.COULD_TIP)
    return _RULES.get((promise.kept_by(found.low), promise.kept_by(found.high)), undecided)  # type: ignore[arg-type]


def counted_out(what: frozenset[str], events: Iterable[Event], now_unix_ns: int) -> tuple[Span, ...]:
    """Return the time that a promise takes out of both sides, from the events of its uplink and its site.

    `planned-work` takes out the windows that were announced beforehand, and of what reaches into one only the part
    within: work that is overrun is not excused. `drill` takes out drills and whatever is marked as part of one; a fault
    domain takes out the outages and impairments that broke there.
    """
    return union(event_span(event, now_unix_ns) for event in events if _counts_out(what, event))


def _counts_out(what: frozenset[str], event: Event) -> bool:
    marks = {
        "planned-work": counts(event),
        "drill": event.drill or event.kind is EventKind.DRILL,
        event.domain: event.kind in {EventKind.OUTAGE, EventKind.IMPAIRMENT},
    }
    return any(marks.get(word, False) for word in what)


def overall(verdicts: Iterable[Verdict]) -> Verdict | None:
    """Return the worst of the verdicts: breached, then undecided, then met; None without clauses."""
    said = set(verdicts)
    return next((v for v in (Verdict.BREACHED, Verdict.UNDECIDED, Verdict.MET) if v in said), None)
