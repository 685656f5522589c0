"""Credits: exact to the currency's smallest amount, and every line with its reckoning."""

from datetime import date
from decimal import Decimal
from fractions import Fraction

import pytest

from wanwatch.core.account.credits import Credit, CreditLine, Rate, Step, Terms, credit

STEPS = (Step(Fraction("0.999"), Fraction("0.05")), Step(Fraction("0.995"), Fraction("0.15")))


def terms(fee: str = "120.00", cap: str | None = None, rates: tuple[Rate, ...] = ()) -> Terms:
    """A contract with two steps."""
    return Terms(fee=Decimal(fee), currency="GBP", steps=STEPS, rates=rates, cap=None if cap is None else Fraction(cap))


@pytest.mark.parametrize(
    ("availability", "owed"),
    [("0.999", "0"), ("0.9989999", "6.00"), ("0.995", "6.00"), ("0.9949", "18.00"), ("0", "18.00")],
)
def test_the_lowest_step_that_holds_is_the_one_that_counts(availability: str, owed: str) -> None:
    """Below means below: a line that is exactly at a step is not below it."""
    assert credit(terms(), Fraction(availability)).total == Decimal(owed)


def test_a_line_shows_its_reckoning() -> None:
    """Whoever reads the amount can reckon it again."""
    assert credit(terms(), Fraction("0.998")) == Credit(
        (CreditLine("availability below 99.9 %", "5 % of 120.00 GBP", Decimal("6.00")),), Decimal("6.00")
    )


@pytest.mark.parametrize(("fee", "owed"), [("0.50", "0.02"), ("0.70", "0.04"), ("33.33", "1.67")])
def test_amounts_are_rounded_half_to_even_and_exactly(fee: str, owed: str) -> None:
    """2.5 pence are 2, 3.5 are 4: no binary fraction has a say in it."""
    assert credit(terms(fee), Fraction("0.998")).total == Decimal(owed)


def test_a_cap_is_a_line_of_its_own() -> None:
    """18.00 and three days of 10.00 are 48.00; a cap of 25 % leaves 30.00."""
    rates = (Rate(date(2026, 1, 1), Decimal("10.00")),)
    days = [date(2026, 10, day) for day in (5, 6, 7)]
    found = credit(terms(cap="0.25", rates=rates), Fraction("0.99"), days)
    assert [line.amount for line in found.lines] == [Decimal("18.00"), Decimal("30.00"), Decimal("-18.00")]
    assert found.total == Decimal("30.00")
    assert found.lines[1].reckoning == "3 days of 10.00 GBP, 2026-10-05 to 2026-10-07"


def test_nothing_is_owed_where_nothing_is_known() -> None:
    """Without a figure no step holds; without a fee there is nothing to take a share of."""
    assert credit(terms(), None).total == 0
    assert credit(Terms(fee=None, currency="GBP", steps=STEPS), Fraction(0)) == Credit((), Decimal(0))
