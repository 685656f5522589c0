"""Credits: what a provider owes under a contract, reckoned exactly and line by line.

Every amount is a decimal number with the digits of the contract's own sums; only whole lines are rounded, half to even.
No amount is built in: fee, steps and rates are the contract's.

Source: common practice of contracts, no published source; Ofcom's scheme has amounts that change on a day of the year.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Final

from wanwatch.core.account.figures import Figure

CENT: Final = Decimal("0.01")


@dataclass(frozen=True, slots=True)
class Step:
    """The share of the fee that is owed where availability is below a share."""

    below: Fraction
    share_of_fee: Fraction


@dataclass(frozen=True, slots=True)
class Rate:
    """An amount for each paid day, from a day on."""

    since: date
    a_day: Decimal


@dataclass(frozen=True, slots=True, kw_only=True)
class Terms:
    """What a contract says of credits.

    Attributes:
        fee: The period's fee; None where it is not known, and then no share of it is.
        currency: Its three letters (ISO 4217).
        steps: Shares of the fee; the lowest step that holds is the one that counts.
        rates: Amounts for each paid day, by the day from which each holds.
        cap: The most that is owed for a period, as a share of the fee; None for no cap.
        smallest: What each line is rounded to.
    """

    fee: Decimal | None
    currency: str
    steps: tuple[Step, ...] = ()
    rates: tuple[Rate, ...] = ()
    cap: Fraction | None = None
    smallest: Decimal = CENT


@dataclass(frozen=True, slots=True)
class CreditLine:
    """One line of what is owed: why, how it was reckoned, and the amount."""

    why: str
    reckoning: str
    amount: Decimal


@dataclass(frozen=True, slots=True)
class Credit:
    """What is owed for a period.

    Attributes:
        lines: Line by line; a cap is a line of its own with a negative amount.
        total: Their sum.
    """

    lines: tuple[CreditLine, ...]
    total: Decimal


def step_for(steps: Iterable[Step], availability: Figure | None) -> Step | None:
    """Return the lowest step that an availability is below; None where it is below none, or not known."""
    if availability is None:
        return None
    return min((step for step in steps if availability < step.below), key=lambda step: step.below, default=None)


def credit(terms: Terms, availability: Figure | None, days: Sequence[date] = ()) -> Credit:
    """Reckon what is owed for a period of this availability, with these paid days of outages.

    Where availability has bounds, its high bound gives what is owed for sure and its low bound what it may come to.
    """
    lines = [*_of_step(terms, availability), *_of_days(terms, days)]
    total = sum((line.amount for line in lines), Decimal(0))
    if (
        terms.cap is not None
        and terms.fee is not None
        and total > (most := _rounded(terms, terms.cap * Fraction(terms.fee)))
    ):
        words = f"{_share(terms.cap)} of {terms.fee} {terms.currency} at the most"
        lines.append(CreditLine("cap", words, most - total))
        total = most
    return Credit(tuple(lines), total)


def _of_step(terms: Terms, availability: Figure | None) -> list[CreditLine]:
    step = step_for(terms.steps, availability)
    if step is None or terms.fee is None:
        return []
    amount = _rounded(terms, step.share_of_fee * Fraction(terms.fee))
    reckoning = f"{_share(step.share_of_fee)} of {terms.fee} {terms.currency}"
    return [CreditLine(f"availability below {_share(step.below)}", reckoning, amount)]


def _of_days(terms: Terms, days: Sequence[date]) -> list[CreditLine]:
    """One line for each rate that any of the days falls under."""
    lines = []
    for rate in sorted(terms.rates, key=lambda rate: rate.since):
        mine = [day for day in days if rate_on(terms.rates, day) == rate]
        if mine:
            count = "1 day" if len(mine) == 1 else f"{len(mine)} days"
            reckoning = f"{count} of {rate.a_day} {terms.currency}, {min(mine)} to {max(mine)}"
            lines.append(CreditLine("days without service", reckoning, len(mine) * rate.a_day))
    return lines


def rate_on(rates: Iterable[Rate], day: date) -> Rate | None:
    """Return the rate that holds on *day*: the latest that had begun; None before the first."""
    return max((rate for rate in rates if rate.since <= day), key=lambda rate: rate.since, default=None)


def _rounded(terms: Terms, amount: Fraction) -> Decimal:
    """Round to the smallest amount, half to even."""
    return round(amount / Fraction(terms.smallest)) * terms.smallest


def _share(ratio: Fraction) -> str:
    return f"{(Decimal(ratio.numerator) * 100 / ratio.denominator).normalize():f} %"
