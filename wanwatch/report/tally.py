"""Tally: what became of each promise that is in force, as the running month's report would say it now."""

from collections.abc import Iterator

from wanwatch.config.promises import names_of
from wanwatch.core.account.clauses import Verdict
from wanwatch.core.account.tally import ClauseSoFar, Tally
from wanwatch.core.model import NS_PER_S
from wanwatch.report.accounts import LineAccount
from wanwatch.report.figures_json import number
from wanwatch.report.subject import Subject, UplinkPlan
from wanwatch.report.values import MonthReport, UplinkReport


def tally_of(report: MonthReport, subject: Subject) -> Tally:
    """Return the tally of a report.

    Args:
        report: The running month's.
        subject: The site that it is about.
    """
    plans = {plan.name: plan for plan in subject.uplinks}
    lines = [(plans[one.name], one) for one in report.uplinks if one.name in plans]
    return Tally(
        made_unix_ns=report.now_unix_ns,
        until_unix_ns=report.period.end_unix_ns,
        clauses=tuple(
            so_far for plan, one in lines for so_far in _clauses(plan, one, report.accounts.lines[one.name], report)
        ),
    )


def _clauses(plan: UplinkPlan, one: UplinkReport, account: LineAccount, report: MonthReport) -> Iterator[ClauseSoFar]:
    contract = plan.contract_at(report.now_unix_ns, report.zone)
    of_availability = [clause for clause in one.clauses if clause.promise.measure == "availability"]
    left = {id(clause): found.left_ns for clause, found in zip(of_availability, account.allowances, strict=True)}
    mine = [clause for clause in one.clauses if clause.contract is contract]
    for clause, name in zip(mine, names_of(clause.promise for clause in mine), strict=True):
        left_ns = left.get(id(clause))
        yield ClauseSoFar(
            uplink=plan.name,
            clause=name,
            value=number(clause.found.value),
            met=None if clause.ruling.verdict is Verdict.UNDECIDED else clause.ruling.verdict is Verdict.MET,
            left_s=None if left_ns is None else float(left_ns / NS_PER_S),
        )
