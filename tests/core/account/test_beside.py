"""What a line carried besides a test, reckoned from counters. The figures are worked out by hand."""

import pytest

from wanwatch.core.account.beside import Reading, is_busy, others_bps, rate_bps
from wanwatch.core.account.speed import Mark
from wanwatch.core.account.speed_result import Direction
from wanwatch.core.model import NS_PER_S

DOWN, UP = Direction.DOWN, Direction.UP
TENTH = NS_PER_S // 10
RATIO = 1.05
MARKS = [Mark(NS_PER_S + number * TENTH, number * 1_000_000) for number in range(101)]
"""Ten seconds of 80 Mbit/s of payload, from the first second on."""


def counted(every: int, others: int = 0, *, cached: int = 1) -> list[Reading]:
    """Counters read so many tenths apart, with others' octets a tenth; an agent refreshes each *cached* reading."""
    readings = []
    down = 0
    for number, tenth in enumerate(range(0, 125, every)):
        if number % cached == 0:
            moved = min(max(0, tenth - 10), 100)
            down = int(moved * 1_000_000 * RATIO) + tenth * others
        readings.append(Reading(tenth * TENTH, down, tenth))
    return readings


@pytest.mark.parametrize(("every", "cached"), [(1, 1), (5, 1), (10, 1), (10, 3)])
@pytest.mark.parametrize("others", [0, 125_000])
def test_a_tests_own_bytes_are_taken_away(every: int, cached: int, others: int) -> None:
    """125,000 octets a tenth of a second are 10 Mbit/s; also where an agent tells the same for three seconds."""
    told = others_bps(counted(every, others, cached=cached), MARKS, DOWN, RATIO)
    assert told == pytest.approx(others * 8 * 10, abs=1e3)


@pytest.mark.parametrize(
    ("readings", "marks"),
    [
        ([], MARKS),
        (counted(1), []),
        (counted(1, cached=100), MARKS),  # never fresh within the test
        (counted(1)[:14], MARKS),  # read for less than half a second of it
        ([Reading(one.at_ns, 10**12 - one.down, 0) for one in counted(1)], MARKS),  # set back
    ],
    ids=["unread", "nothing moved", "cached", "brief", "set back"],
)
def test_where_counters_cannot_tell_nothing_is_told(readings: list[Reading], marks: list[Mark]) -> None:
    """A test is then neither marked nor vouched for."""
    assert others_bps(readings, marks, DOWN, RATIO) is None


def test_the_rate_of_a_line_goes_by_its_direction() -> None:
    """Octets times eight over the time between."""
    readings = [Reading(0, 0, 0), Reading(2 * NS_PER_S, 1_000_000, 250_000)]
    assert (rate_bps(readings, DOWN), rate_bps(readings, UP)) == (4e6, 1e6)


@pytest.mark.parametrize(
    ("others", "capacity", "busy"),
    [(5e6, 100e6, False), (5.1e6, 100e6, True), (None, 100e6, None), (5e6, None, None), (0.0, 100e6, False)],
)
def test_a_line_is_busy_above_the_stated_share(
    *, others: float | None, capacity: float | None, busy: bool | None
) -> None:
    """5 % of what is sold; unknown where either is."""
    assert is_busy(others, capacity, 0.05) is busy
