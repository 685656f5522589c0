"""Contracts that follow each other, and their clauses and credits, as the file writes them."""

from collections.abc import Callable
from decimal import Decimal
from typing import TypeAlias

import pytest

from wanwatch.config import Config
from wanwatch.config.contract import SpeedClause

Read: TypeAlias = Callable[[str], Config]
Mistakes: TypeAlias = Callable[[str], list[str]]

OLD = '''[[uplink.contract]]
provider = "Example Copper"
ends = 2026-11-02

[[uplink.contract]]
provider = "Example Fibre"'''
SINGLE = '[uplink.contract]\nprovider = "Example Fibre"'


def test_a_list_of_contracts_and_a_single_table_are_read_alike(read: Read, right: str) -> None:
    """A table that stands alone is a list of one."""
    assert [c.provider for c in read(right).uplinks[0].contracts] == ["Example Fibre"]
    both = read(right.replace(SINGLE, OLD)).uplinks[0].contracts
    assert [c.provider for c in both] == ["Example Copper", "Example Fibre"]


@pytest.mark.parametrize(
    ("old", "new", "line"),
    [
        (
            "ends = 2026-11-02",
            "ends = 2026-11-03",
            (
                "uplink[0].contract[1].starts = 2026-11-03: contract[0] runs until 2026-11-03, and a line has one "
                "contract at a time; end contract[0] the day before, or start this one later"
            ),
        ),
        (
            "ends = 2026-11-02\n",
            "",
            (
                "uplink[0].contract[1].starts = 2026-11-03: contract[0] runs without an end, and a line has one "
                "contract at a time; end contract[0] the day before, or start this one later"
            ),
        ),
        (
            'reference = "EX-0001"',
            'refrence = "EX-0001"',
            "uplink[0].contract[1].refrence: there is no such key; did you mean 'reference'?",
        ),
        (
            '{ measure = "loss", at_most = "0.1%" }',
            '{ measure = "speed-up", floor = "1Mbps", peak = "2Mbps" }',
            "uplink[0].contract[1].clause[2]: it promises floor and peak at once; make a clause of each",
        ),
        (
            'fee = "120.00 GBP"',
            'fee = "120.00 GBP"\ncredit_day = { amount = "8.00 EUR", after = 2 }',
            (
                "uplink[0].contract[1].credit_day.amount = '8.00 EUR': the fee is in GBP, and sums of two currencies "
                "do not add up; write both in one currency"
            ),
        ),
        (
            'fee = "120.00 GBP"',
            'credit_cap = "50%"',
            (
                "uplink[0].contract[1].credit_cap = '50%': it is a share of the fee, and there is none; "
                "write fee, or leave credit_cap out"
            ),
        ),
    ],
)
def test_a_mistake_in_one_of_several_contracts_is_told_whole(
    mistakes: Mistakes, right: str, old: str, new: str, line: str
) -> None:
    """With the place of the contract in the list."""
    text = right.replace(SINGLE, OLD)
    assert old in text
    assert mistakes(text.replace(old, new)) == [line]


def test_the_shares_of_speed_clauses_have_their_defaults() -> None:
    """A floor is reached in 95 % of tests, a peak in 5 %; a usual speed says its own."""

    def promised(**keys: str) -> tuple[str, int, Decimal]:
        return SpeedClause.model_validate({"measure": "speed-down", **keys}).promised

    assert promised(floor="450Mbps") == ("floor", 450_000_000, Decimal("0.95"))
    assert promised(peak="900Mbps") == ("peak", 900_000_000, Decimal("0.05"))
    assert promised(usual="810Mbps", share="90%") == ("usual", 810_000_000, Decimal("0.9"))
    assert promised(floor="450Mbps", share="100%") == ("floor", 450_000_000, Decimal(1))


def test_the_working_time_of_the_site_is_read(read: Read, right: str) -> None:
    """Hours, days of the week and holidays, for clauses that count working time."""
    keys = 'working_hours = "08:00-18:00"\nworking_days = ["mon", "sat"]\nholidays = [2026-12-25]\n'
    working = read(right.replace('timezone = "Europe/London"\n', f'timezone = "Europe/London"\n{keys}')).site.working
    assert (working.hours_min, working.weekdays) == ((480, 1080), frozenset({0, 5}))
    assert [day.isoformat() for day in working.holidays] == ["2026-12-25"]
