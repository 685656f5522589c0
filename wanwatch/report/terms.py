"""Terms: what a contract of the configuration says of what is owed, for the reckoning of credits."""

from datetime import date
from decimal import Decimal
from fractions import Fraction

from wanwatch.config import contract as given
from wanwatch.core.account.credits import Rate, Step, Terms


def terms_of(contract: given.Contract) -> Terms | None:
    """Return what a contract says of credits; None where it says nothing."""
    sums = [sum_ for sum_ in (contract.fee, contract.credit_day and contract.credit_day.amount) if sum_]
    if not contract.credit and contract.credit_day is None:
        return None
    return Terms(
        fee=contract.fee.amount if contract.fee else None,
        currency=sums[0].currency if sums else "",
        steps=tuple(Step(Fraction(step.below), Fraction(step.share_of_fee)) for step in contract.credit),
        rates=(Rate(date.min, contract.credit_day.amount.amount),) if contract.credit_day else (),
        cap=None if contract.credit_cap is None else Fraction(contract.credit_cap),
        smallest=_smallest([sum_.amount for sum_ in sums]),
    )


def _smallest(amounts: list[Decimal]) -> Decimal:
    """Return the smallest amount to reckon with: a hundredth, or finer where the contract's own sums are."""
    exponents = [exponent for amount in amounts if isinstance(exponent := amount.as_tuple().exponent, int)]
    return Decimal(1).scaleb(min([-2, *exponents]))
