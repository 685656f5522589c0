"""What the contracts of one line say of each other, and of its targets."""

from collections.abc import Collection, Iterator
from datetime import date
from itertools import pairwise
from typing import TypeAlias

from wanwatch.config.contract import Contract, DelayClause, LossClause
from wanwatch.config.mistakes import Loc
from wanwatch.config.uplink import Uplink

Crossed: TypeAlias = tuple[Loc, str, str]


def check(uplink: Uplink, asked: Collection[str], targets: Collection[str]) -> Iterator[Crossed]:
    """Give the mistakes in the contracts of *uplink*: where below `contract`, the reason and the mend.

    Args:
        uplink: The line.
        asked: Names of the targets that are asked through it.
        targets: Names of all targets.
    """
    for number, contract in enumerate(uplink.contracts):
        for loc, reason, mend in (*_targets(uplink, contract, asked, targets), *_dates(contract), *_credit(contract)):
            yield (number, *loc), reason, mend
    yield from _overlaps(uplink.contracts)


def _targets(uplink: Uplink, contract: Contract, asked: Collection[str], targets: Collection[str]) -> Iterator[Crossed]:
    for number, clause in enumerate(contract.clauses):
        name = clause.target if isinstance(clause, DelayClause | LossClause) else None
        if name in targets and name not in asked:
            reason = f"that target is not asked through {uplink.name!r}"
            yield (
                ("clause", number, "target"),
                reason,
                "name this uplink in the target's uplinks, or another target here",
            )


def _dates(contract: Contract) -> Iterator[Crossed]:
    if contract.starts and contract.ends and contract.ends < contract.starts:
        yield ("ends",), "the contract would end before it starts", "write a later day"


def _credit(contract: Contract) -> Iterator[Crossed]:
    steps = [step.below for step in contract.credit]
    for number, below in enumerate(steps):
        if below in steps[:number]:
            yield ("credit", number, "below"), "there is another step for this share", "keep one of them"
    if contract.credit_day and contract.fee and contract.credit_day.amount.currency != contract.fee.currency:
        reason = f"the fee is in {contract.fee.currency}, and sums of two currencies do not add up"
        yield ("credit_day", "amount"), reason, "write both in one currency"
    if contract.credit_cap is not None and contract.fee is None:
        yield ("credit_cap",), "it is a share of the fee, and there is none", "write fee, or leave credit_cap out"


def _overlaps(contracts: Collection[Contract]) -> Iterator[Crossed]:
    in_order = sorted(enumerate(contracts), key=lambda pair: pair[1].starts or date.min)
    for (before, first), (number, second) in pairwise(in_order):
        if second.starts is None or first.ends is None or first.ends >= second.starts:
            until = f"until {first.ends}" if first.ends else "without an end"
            reason = f"contract[{before}] runs {until}, and a line has one contract at a time"
            yield (number, "starts"), reason, f"end contract[{before}] the day before, or start this one later"
