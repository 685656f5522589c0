"""Burn rates, against the published tables.

Source: Google, The Site Reliability Workbook (2018), chapter 5, tables 5-4, 5-6 and 5-8.
"""

from fractions import Fraction

import pytest

from wanwatch.core.account.burn import ALARMS, alarms, burn_rate
from wanwatch.core.model import NS_PER_S

MINUTE, HOUR, DAY = 60 * NS_PER_S, 3600 * NS_PER_S, 86_400 * NS_PER_S
LIMIT = Fraction("0.999")


@pytest.mark.parametrize(
    ("rate", "window_ns", "used"), [("14.4", HOUR, "0.02"), ("6", 6 * HOUR, "0.05"), ("1", 3 * DAY, "0.1")]
)
def test_the_share_of_the_allowance_that_each_alarm_stands_for(rate: str, window_ns: int, used: str) -> None:
    """Table 5-6: 2 %, 5 % and 10 % of a period of 30 days, used within the window."""
    assert any((alarm.rate, alarm.long_ns) == (Fraction(rate), window_ns) for alarm in ALARMS)
    down_ns = int(Fraction(used) * (1 - LIMIT) * 30 * DAY)
    assert burn_rate(down_ns, window_ns, LIMIT) == Fraction(rate)


def test_the_short_window_is_a_twelfth_of_the_long_one() -> None:
    """Table 5-8."""
    assert all(alarm.short_ns * 12 == alarm.long_ns for alarm in ALARMS)


@pytest.mark.parametrize(("down", "after_s"), [("1", "51.84"), ("0.15", "345.6")])
def test_how_long_trouble_lasts_before_an_alarm(down: str, after_s: str) -> None:
    """99.9 %, 14.4 times over an hour: a dead line after 51.84 s, one with 15 % of errors after 5.76 min."""

    def urgent(lasts_ns: int) -> bool:
        bad = {ns: int(Fraction(down) * min(lasts_ns, ns)) for ns in (HOUR, 5 * MINUTE)}
        return any(alarm.urgent for alarm in alarms({ns: burn_rate(bad[ns], ns, LIMIT) for ns in bad}))

    after_ns = int(Fraction(after_s) * NS_PER_S)
    assert urgent(after_ns)
    assert not urgent(after_ns - NS_PER_S)


def test_trouble_that_is_too_shallow_never_fires() -> None:
    """1.43 % is less than 14.4 times 0.1 %, however long it lasts."""
    rate = burn_rate(143, 10_000, LIMIT)
    assert not any(alarm.long_ns == HOUR for alarm in alarms(dict.fromkeys((HOUR, 5 * MINUTE), rate)))


@pytest.mark.parametrize(
    ("rate", "exhausted_ns"), [(1, 30 * DAY), (2, 15 * DAY), (10, 3 * DAY), (1000, Fraction("43.2") * MINUTE)]
)
def test_how_long_the_allowance_lasts(rate: int, exhausted_ns: Fraction) -> None:
    """Table 5-4: whoever is down for all that 30 days allow within that long burns so fast."""
    assert burn_rate(int((1 - LIMIT) * 30 * DAY), int(exhausted_ns), LIMIT) == rate


@pytest.mark.parametrize(("hour", "minutes", "urgent"), [("0.02", "0.01", False), ("0.015", "0.015", True)])
def test_an_alarm_needs_both_windows(hour: str, minutes: str, *, urgent: bool) -> None:
    """2 % in the hour and 1 % in five minutes is over already; 1.5 % in both still burns 15 times too fast."""
    rates = {ns: burn_rate(int(Fraction(down) * ns), ns, LIMIT) for ns, down in ((HOUR, hour), (5 * MINUTE, minutes))}
    assert any(alarm.urgent for alarm in alarms(rates)) is urgent


def test_without_observed_time_or_an_allowance_there_is_no_rate() -> None:
    """Nothing seen is not nothing burnt, and 100 % allows nothing to burn."""
    assert burn_rate(0, 0, LIMIT) is None
    assert burn_rate(1, HOUR, Fraction(1)) is None
