"""The filter that makes a listener miss some addresses, instruction by instruction."""

from collections.abc import Mapping, Sequence

import pytest

from wanwatch.demo._listener import Instruction, filter_by_source

LOAD, EQUAL, NOT_LESS, RETURN = 0x20, 0x15, 0x35, 0x06
SOURCE_ADDRESS, RANDOM = 0xFFF0_000C, 0xFFFF_F038
HEARS, DEAF = 0, 1


def run(lines: Sequence[Instruction], source: int, chance: int) -> int:
    """Run a program as the kernel would.

    Source: Linux Documentation/networking/filter.rst: a jump counts from the next instruction.
    """
    facts = {SOURCE_ADDRESS: source, RANDOM: chance}
    word = at = 0
    while True:
        code, if_true, if_false, value = lines[at]
        at += 1
        match code:
            case 0x20:
                word = facts[value]
            case 0x15:
                at += if_true if word == value else if_false
            case 0x35:
                at += if_true if word >= value else if_false
            case 0x06:
                return value


FIBRE, COPPER, OTHER = 0x7F14000B, 0x7F14000C, 0x7F000001
MISSES = {"127.20.0.11": 0.25, "127.20.0.12": 1.0}


@pytest.mark.parametrize(
    ("misses", "otherwise", "source", "chance", "goes_to"),
    [
        (MISSES, 0.0, FIBRE, 0x3FFF_FFFF, DEAF),
        (MISSES, 0.0, FIBRE, 0x4000_0000, HEARS),
        (MISSES, 0.0, COPPER, 0xFFFF_FFFF, DEAF),
        (MISSES, 0.0, OTHER, 0, HEARS),
        (MISSES, 1.0, OTHER, 0xFFFF_FFFF, DEAF),
        ({}, 0.0, FIBRE, 0, HEARS),
        ({}, 1.0, FIBRE, 0xFFFF_FFFF, DEAF),
    ],
)
def test_a_newcomer_is_missed_by_its_address_and_by_chance(
    misses: Mapping[str, float], otherwise: float, source: int, chance: int, goes_to: int
) -> None:
    """A share of one quarter is the lowest quarter of all random words; 0 never misses, 1 always does."""
    assert run(filter_by_source(misses, otherwise=otherwise), source, chance) == goes_to
