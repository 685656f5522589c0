"""Verdicts: what became of each promise, and what is owed. Values only; `rulings` and `owed` find them."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from wanwatch.core.account.availability import Times
from wanwatch.core.account.clauses import Promise, Ruling, Verdict, overall
from wanwatch.core.account.credits import Credit
from wanwatch.core.account.figures import Bounded
from wanwatch.core.model import Span
from wanwatch.report.subject import Contract


@dataclass(frozen=True, slots=True, kw_only=True)
class ClauseResult:
    """What became of one promise.

    Attributes:
        promise: The promise.
        contract: The contract that it is part of.
        period: The time of the calendar that it is judged over, up to the contract's end.
        ruling: The verdict and its ground.
        found: The figure with its bounds, in the unit of the promise's limit.
        samples: How many probes, tests or events it rests on.
        times: The states of the time that counts for it.
        to_come_ns: How much of that time has not come yet.
        evidence: Names of the events and tests that show it.
        needed: For a share of tests: how many more decide it at least; None where that cannot be told.
    """

    promise: Promise
    contract: Contract
    period: Span
    ruling: Ruling
    found: Bounded
    samples: int
    times: Times
    to_come_ns: int
    evidence: tuple[str, ...] = ()
    needed: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Owed:
    """What one contract owes for the month.

    Attributes:
        contract: The contract.
        sure: What is owed whatever the unobserved time was like.
        perhaps: What it may come to.
        sure_share: The share of the fee in it; None where there is no such step.
        perhaps_share: Likewise.
    """

    contract: Contract
    sure: Credit
    perhaps: Credit
    sure_share: Fraction | None
    perhaps_share: Fraction | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A month of a quarter or of a year, for one line.

    Attributes:
        name: Which month, as in `2026-10`.
        running: Whether it is not over.
        clauses: What became of the promises whose time ends with this month and is shorter than the report's.
        credits: What each contract owes for this month.
    """

    name: str
    running: bool
    clauses: tuple[ClauseResult, ...]
    credits: tuple[Owed, ...]


@dataclass(frozen=True, slots=True)
class Sum:
    """What one contract owes for several months."""

    contract: Contract
    sure: Decimal
    perhaps: Decimal


def sums(parts: Iterable[Part]) -> list[Sum]:
    """Add up, exactly and by contract, what is owed for each month."""
    found: dict[Contract, list[Owed]] = {}
    for owed in (owed for part in parts for owed in part.credits):
        found.setdefault(owed.contract, []).append(owed)
    return [
        Sum(
            contract,
            sum((owed.sure.total for owed in many), Decimal(0)),
            sum((owed.perhaps.total for owed in many), Decimal(0)),
        )
        for contract, many in found.items()
    ]


def worst(clauses: Iterable[ClauseResult]) -> Verdict | None:
    """Return the verdict that speaks for several clauses."""
    return overall(clause.ruling.verdict for clause in clauses)
