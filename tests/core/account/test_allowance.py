"""Downtime that a promise leaves, and how fast it goes.

Sources: Google, Site Reliability Engineering (2016), Appendix A (99.9 % of 30 days: 43.2 min), and The Site Reliability
Workbook (2018), chapter 5 (burn rates, tables 5-6 and 5-8).
"""

from fractions import Fraction

from wanwatch.core.account.allowance import Allowance, allowance
from wanwatch.core.account.availability import times_in
from wanwatch.core.account.spans import subtract
from wanwatch.core.account.timeline import Timeline
from wanwatch.core.model import NS_PER_S, Span

MINUTE_NS, HOUR_NS, DAY_NS = 60 * NS_PER_S, 3600 * NS_PER_S, 86_400 * NS_PER_S
MONTH = Span(0, 30 * DAY_NS)


def month(now_ns: int, *down: Span, limit: str = "0.999") -> Allowance:
    """The allowance of a month as of an instant; what is still to come is unobserved."""
    past = Span(0, now_ns)
    states = Timeline(up=subtract([past], down), impaired=(), down=down, unobserved=(Span(now_ns, MONTH.end_unix_ns),))
    return allowance(Fraction(limit), times_in(states, [MONTH]), states, now_ns)


def test_three_nines_of_thirty_days_are_43_minutes() -> None:
    """43.2 min are allowed for the whole month, also while it runs; 20 min are gone."""
    found = month(10 * DAY_NS, Span(0, 20 * MINUTE_NS))
    assert found.allowed_ns == Fraction("43.2") * MINUTE_NS
    assert found.used_ns == 20 * MINUTE_NS
    assert found.left_ns == Fraction("23.2") * MINUTE_NS
    assert found.alarms == ()


def test_an_overdrawn_allowance_is_less_than_nothing() -> None:
    """An hour of 43.2 min."""
    assert month(10 * DAY_NS, Span(0, HOUR_NS)).left_ns == Fraction("-16.8") * MINUTE_NS


def test_each_window_has_its_rate() -> None:
    """Down for the last minute: 1/5 of 5 min, 1/60 of an hour, each divided by the thousandth that is allowed."""
    now = 10 * DAY_NS
    found = month(now, Span(now - MINUTE_NS, now))
    expected = {
        5: 200,
        30: Fraction(1000, 30),
        60: Fraction(1000, 60),
        360: Fraction(1000, 360),
        4320: Fraction(1000, 4320),
    }
    assert found.rates == {minutes * MINUTE_NS: rate for minutes, rate in expected.items()}
    assert [alarm.rate for alarm in found.alarms] == [Fraction("14.4")]


def test_a_window_that_began_before_the_period_has_no_rate() -> None:
    """Half a minute down in the first ten of a month: known over the last five, and not over an hour."""
    now = 10 * MINUTE_NS
    found = month(now, Span(now - NS_PER_S * 30, now))
    assert found.rates == {5 * MINUTE_NS: 100, **dict.fromkeys((30 * MINUTE_NS, HOUR_NS, 6 * HOUR_NS, 3 * DAY_NS))}
    assert found.alarms == ()


def test_without_observed_time_or_allowance_there_is_no_rate() -> None:
    """A window in which nobody looked, and a promise of 100 %."""
    blind = Timeline(up=(), impaired=(), down=(), unobserved=(MONTH,))
    found = allowance(Fraction("0.999"), times_in(blind, [MONTH]), blind, MONTH.end_unix_ns)
    assert set(found.rates.values()) == {None}
    assert set(month(DAY_NS, limit="1").rates.values()) == {None}
