"""Hours of the week: medians by the site's own hours, shaded from the best to the worst."""

from datetime import UTC, datetime
from fractions import Fraction
from math import inf
from zoneinfo import ZoneInfo

from wanwatch.core.account.speed_tests import SpeedTest
from wanwatch.core.model import NS_PER_S
from wanwatch.report.samples import Hour
from wanwatch.report.week import Cell, delays, speeds

LONDON = ZoneInfo("Europe/London")


def at(day: int, hour: int) -> int:
    """An hour of October 2026 in UTC; the 5th was a Monday."""
    return round(datetime(2026, 10, day, hour, tzinfo=UTC).timestamp()) * NS_PER_S


def hour(day: int, of_day: int, p95_us: float) -> Hour:
    return Hour(at(day, of_day), None, None, inf if p95_us == inf else Fraction(p95_us), None)


def test_a_cell_is_the_median_of_its_weeks() -> None:
    """Three Mondays at eight in London, seven in UTC: 10, 30 and 11 ms make 11 ms."""
    found = delays([hour(5, 7, 10_000), hour(12, 7, 30_000), hour(19, 7, 11_000), hour(6, 7, 22_000)], LONDON)
    assert found.rows[0][8] == Cell(11.0, 0)
    assert found.rows[1][8] == Cell(22.0, 4)
    assert found.rows[0][7] == Cell(None, 0)
    assert found.known


def test_an_hour_without_an_answer_is_the_worst() -> None:
    """A percentile that falls on unanswered probes is beyond every scale, and spoils nobody's shade."""
    found = delays([hour(5, 7, inf), hour(6, 7, 10_000), hour(7, 7, 10_100)], LONDON)
    assert found.rows[0][8] == Cell(inf, 4)
    assert found.rows[1][8].shade == found.rows[2][8].shade == 0


def test_the_hour_that_comes_twice_is_one_cell() -> None:
    """On the 25th at one in London, both hours count: 10 and 20 ms make 15 ms."""
    found = delays([hour(25, 0, 10_000), hour(25, 1, 20_000)], LONDON)
    assert found.rows[6][1].figure == 15.0
    assert not found.known


def test_slower_is_worse_for_speed_and_three_hours_are_one() -> None:
    """Tests at 18:10 and 20:50 in London are one cell of eight."""
    tests = [
        SpeedTest(at_unix_ns=at(5, 17), uplink="fibre", direction="down", bps=4e8),
        SpeedTest(at_unix_ns=at(5, 19), uplink="fibre", direction="down", bps=6e8),
        SpeedTest(at_unix_ns=at(6, 8), uplink="fibre", direction="down", bps=9e8),
        SpeedTest(at_unix_ns=at(6, 8), uplink="fibre", direction="down", bps=None, apart="refused"),
    ]
    found = speeds(tests, LONDON)
    assert list(found.columns) == [0, 3, 6, 9, 12, 15, 18, 21]
    assert found.rows[0][6] == Cell(500.0, 4)
    assert found.rows[1][3] == Cell(900.0, 0)
