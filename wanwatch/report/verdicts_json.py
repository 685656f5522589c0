"""Verdicts and credits of a month as JSON that loses nothing, to be kept beside its figures.

Contracts and promises are named by their places in the configuration: what is kept is read only while its digest is the
same, of which the configuration is part.
"""

import math
from collections.abc import Mapping
from dataclasses import asdict
from decimal import Decimal
from fractions import Fraction
from typing import Any

from wanwatch.core.account.availability import Times
from wanwatch.core.account.clauses import Because, Ruling, Verdict
from wanwatch.core.account.credits import Credit, CreditLine
from wanwatch.core.account.figures import Bounded, Figure
from wanwatch.core.model import Json, Span
from wanwatch.report.subject import UplinkPlan
from wanwatch.report.verdicts import ClauseResult, Owed


def verdicts_to_json(plan: UplinkPlan, clauses: tuple[ClauseResult, ...], owed: tuple[Owed, ...]) -> Json:
    """Return what became of a line's promises, and what is owed for it."""
    return {
        "clauses": [_clause(plan, clause) for clause in clauses],
        "credits": [
            {
                "contract": plan.contracts.index(one.contract),
                "sure": _credit(one.sure, one.sure_share),
                "perhaps": _credit(one.perhaps, one.perhaps_share),
            }
            for one in owed
        ],
    }


def verdicts_from_json(plan: UplinkPlan, told: Mapping[str, Any]) -> tuple[tuple[ClauseResult, ...], tuple[Owed, ...]]:
    """Return what `verdicts_to_json` was given.

    Raises:
        LookupError, TypeError, ValueError: It is something else.
    """
    return tuple(_clause_of(plan, one) for one in told["clauses"]), tuple(
        _owed_of(plan, one) for one in told["credits"]
    )


def _clause(plan: UplinkPlan, clause: ClauseResult) -> Json:
    return {
        "contract": plan.contracts.index(clause.contract),
        "promise": clause.contract.promises.index(clause.promise),
        "period": [clause.period.start_unix_ns, clause.period.end_unix_ns],
        "verdict": clause.ruling.verdict.value,
        "because": clause.ruling.because.value,
        "found": [_text(figure) for figure in (clause.found.value, clause.found.low, clause.found.high)],
        "samples": clause.samples,
        "times": asdict(clause.times),
        "to_come_ns": clause.to_come_ns,
        "evidence": list(clause.evidence),
        "needed": clause.needed,
    }


def _clause_of(plan: UplinkPlan, told: Mapping[str, Any]) -> ClauseResult:
    contract = plan.contracts[told["contract"]]
    value, low, high = map(_figure, told["found"])
    return ClauseResult(
        promise=contract.promises[told["promise"]],
        contract=contract,
        period=Span(*told["period"]),
        ruling=Ruling(Verdict(told["verdict"]), Because(told["because"])),
        found=Bounded(value=value, low=low, high=high),
        samples=told["samples"],
        times=Times(**told["times"]),
        to_come_ns=told["to_come_ns"],
        evidence=tuple(told["evidence"]),
        needed=told["needed"],
    )


def _credit(credit: Credit, share: Fraction | None) -> Json:
    lines: list[Json] = [[line.why, line.reckoning, str(line.amount)] for line in credit.lines]
    return {"lines": lines, "total": str(credit.total), "share": _text(share)}


def _owed_of(plan: UplinkPlan, told: Mapping[str, Any]) -> Owed:
    sure, perhaps = (
        Credit(tuple(CreditLine(why, how, Decimal(sum_)) for why, how, sum_ in one["lines"]), Decimal(one["total"]))
        for one in (told["sure"], told["perhaps"])
    )
    sure_share, perhaps_share = (
        None if one["share"] is None else Fraction(one["share"]) for one in (told["sure"], told["perhaps"])
    )
    return Owed(
        contract=plan.contracts[told["contract"]], sure=sure, perhaps=perhaps, sure_share=sure_share,
        perhaps_share=perhaps_share,
    )  # fmt: skip


def _text(figure: Figure | None) -> str | None:
    """Write a figure exactly; a float that is finite gets a point or an exponent, a fraction never does."""
    return None if figure is None else repr(figure) if isinstance(figure, float) else str(Fraction(figure))


def _figure(text: str | None) -> Figure | None:
    if text is None or text == repr(math.inf):
        return None if text is None else math.inf
    return float(text) if {".", "e"} & set(text) else Fraction(text)
