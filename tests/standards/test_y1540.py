"""Availability by intervals of loss.

Source: ITU-T Y.1540, IP service availability: unavailable where the loss ratio of an interval is above c1 (0.75 over
5 min in the editions of 2002 to 2011, 0.20 over 1 min from 2016 on; from memory). The shares are arithmetic.
"""

from collections.abc import Sequence
from fractions import Fraction
from typing import NamedTuple

import pytest

from wanwatch.core.account.timeline import Timeline
from wanwatch.core.account.y1540 import EDITIONS, Edition, Intervals
from wanwatch.core.model import NS_PER_S, Kind, Role, Series, Span
from wanwatch.report.accounting import by_intervals
from wanwatch.report.gathering import Seen


class Minute(NamedTuple):
    """What was sent to a target in a minute of the day, and how much of it was lost."""

    target: str
    minute: int
    sent: int
    lost: int


def intervals(minutes: Sequence[Minute], edition: Edition) -> Intervals:
    """Of a day that was wholly observed."""
    seen: dict[Series, Seen] = {}
    for told in minutes:
        one = seen.setdefault(Series("fibre", told.target, Kind.ECHO, Role.LINE), Seen())
        one.minutes.append(told.minute)
        one.asked.append(told.sent)
        one.missed.append(told.lost)
    states = Timeline(up=(Span(0, 86_400 * NS_PER_S),), impaired=(), down=(), unobserved=())
    return by_intervals(seen.items(), states, edition)


@pytest.mark.parametrize(("lost", "available"), [(225, True), (226, False)])
def test_five_minutes_of_the_older_editions(lost: int, *, available: bool) -> None:
    """225 of 300 are 0.75, which is not above 0.75."""
    minutes = [Minute("near", minute, 60, lost // 5 + (minute < lost % 5)) for minute in range(5)]
    assert intervals(minutes, EDITIONS["2002"]) == Intervals(int(available), int(not available))


@pytest.mark.parametrize(("lost", "available"), [(12, True), (13, False)])
def test_one_minute_of_the_newer_editions(lost: int, *, available: bool) -> None:
    """12 of 60 are 0.20, 13 are 0.2167."""
    found = intervals([Minute("near", 7, 60, lost)], EDITIONS["2016"])
    assert found == Intervals(int(available), int(not available))


def test_the_percentage_of_a_day() -> None:
    """Three unavailable minutes of 1440: PIA 99.791667 %."""
    day = [Minute("near", minute, 60, 60 if minute < 3 else 0) for minute in range(1440)]
    found = intervals(day, EDITIONS["2016"])
    assert found == Intervals(1437, 3)
    assert float(found.percent_available or 0) == pytest.approx(0.99791667, abs=5e-9)


def test_too_few_packets_decide_nothing() -> None:
    """Not available, not unavailable: unknown; and nothing known is no share."""
    found = intervals([Minute("near", 0, 5, 5)], EDITIONS["2016"])
    assert found == Intervals(0, 0)
    assert found.percent_available is None


def test_a_line_is_unavailable_only_towards_all_of_its_targets() -> None:
    """Our own rule: one dead target of two is that target's trouble."""
    one_dead = [Minute("near", 0, 60, 0), Minute("far", 0, 60, 60)]
    all_dead = [Minute("near", 1, 60, 60), Minute("far", 1, 60, 60)]
    found = intervals([*one_dead, *all_dead], EDITIONS["2016"])
    assert found == Intervals(1, 1)
    assert found.percent_available == Fraction(1, 2)
