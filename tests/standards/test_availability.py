"""Availability and its mean times, against published definitions and tables.

Sources: IEC 60050-192 and ITU-T E.800 (definitions, from memory; the values are arithmetic from them); Site
Reliability Engineering (2016), Appendix A, the table of allowed unavailability.
"""

from fractions import Fraction
from zoneinfo import ZoneInfo

import pytest

from wanwatch.core.account.availability import Times, allowance_ns, availability, mean_times, times_in
from wanwatch.core.account.calendar import month_span
from wanwatch.core.account.timeline import timeline
from wanwatch.core.model import NS_PER_S, Bounds, Event, EventKind, Span

MINUTE, HOUR, DAY = 60 * NS_PER_S, 3600 * NS_PER_S, 86400 * NS_PER_S


def month(*, up: int, down: int = 0, unobserved: int = 0) -> Times:
    """Lengths of the states in nanoseconds."""
    return Times(up_ns=up, impaired_ns=0, down_ns=down, unobserved_ns=unobserved)


@pytest.mark.parametrize(("between_h", "repair_h", "expected"), [(1000, 2, 0.9980039920), (8760, 4, 0.9995435874)])
def test_availability_is_mtbf_over_mtbf_plus_mttr(between_h: int, repair_h: int, expected: float) -> None:
    """IEC 60050-192: the ratio of the states' lengths is the ratio of the mean times."""
    times = month(up=between_h * HOUR, down=repair_h * HOUR)
    means = mean_times(times, 1)
    assert means.between_failures_ns == between_h * HOUR
    assert means.to_restoration_ns == repair_h * HOUR
    assert float(availability(times).value or 0) == pytest.approx(expected, abs=5e-11)


def test_three_outages_of_an_hour_in_all_in_a_month_of_720_hours() -> None:
    """30, 10 and 20 minutes: MTTR 20 min, MTBF 239.6667 h, A = 719/720."""
    times = month(up=719 * HOUR, down=HOUR)
    means = mean_times(times, 3)
    assert means.to_restoration_ns == 20 * MINUTE
    assert means.between_failures_ns == Fraction(719 * HOUR, 3)
    assert availability(times).value == Fraction(719, 720)


def test_without_an_outage_the_mean_times_are_undefined() -> None:
    """Availability is 1; a mean of nothing is not a number."""
    times = month(up=720 * HOUR)
    means = mean_times(times, 0)
    assert (means.between_failures_ns, means.to_restoration_ns) == (None, None)
    assert availability(times).value == 1


def test_overlapping_outages_count_once() -> None:
    """10:00 to 10:10 and 10:05 to 10:20 are 20 minutes of down time."""

    def outage(start: int, end: int) -> Event:
        first, last = (Bounds(t, t, t) for t in (start, end))
        return Event(id=str(start), site="s", kind=EventKind.OUTAGE, uplink="fibre", start=first, end=last)

    day = Span(0, DAY)
    told = [outage(10 * HOUR, 10 * HOUR + 10 * MINUTE), outage(10 * HOUR + 5 * MINUTE, 10 * HOUR + 20 * MINUTE)]
    states = timeline(day, "fibre", events=told, watched=[day], probed=[day], now_unix_ns=DAY)
    assert times_in(states, [day]).down_ns == 20 * MINUTE
    assert len(states.down) == 1


def test_unobserved_time_is_in_neither_side_but_in_both_bounds() -> None:
    """2 h unmonitored and 1 h down in 720 h: 717/718 observed, between 717/720 and 719/720."""
    found = availability(month(up=717 * HOUR, down=HOUR, unobserved=2 * HOUR))
    assert (found.value, found.low, found.high) == (Fraction(717, 718), Fraction(717, 720), Fraction(719, 720))


def test_a_month_that_nobody_observed_has_no_availability() -> None:
    """No evidence is neither 0 nor 1."""
    found = availability(month(up=0, unobserved=720 * HOUR))
    assert (found.value, found.low, found.high) == (None, 0, 1)


@pytest.mark.parametrize(
    ("zone", "number", "per_cent", "allowed_s"),
    [
        ("Europe/London", 10, "99.903803", "2682.0"),
        ("Europe/London", 3, "99.903544", "2674.8"),
        ("America/New_York", 11, "99.900601", "2595.6"),
    ],
)
def test_43_minutes_weigh_by_the_true_length_of_the_month(
    zone: str, number: int, per_cent: str, allowed_s: str
) -> None:
    """The same outage is another share of 745, 743 and 721 hours, and 99.9 % allows another length."""
    length = month_span(2026, number, ZoneInfo(zone)).length_ns
    found = availability(month(up=length - 43 * MINUTE, down=43 * MINUTE)).value
    assert found is not None
    assert round(float(found) * 100, 6) == float(per_cent)
    assert allowance_ns(Fraction("0.999"), length) == Fraction(allowed_s) * NS_PER_S


@pytest.mark.parametrize(
    ("target", "printed_s"),
    [
        ("0.99", (3.65 * 86400, 21.6 * 3600, 7.2 * 3600, 1.68 * 3600, 14.4 * 60, 36)),
        ("0.995", (1.83 * 86400, 10.8 * 3600, 3.6 * 3600, 50.4 * 60, 7.2 * 60, 18)),
        ("0.999", (8.76 * 3600, 2.16 * 3600, 43.2 * 60, 10.1 * 60, 1.44 * 60, 3.6)),
        ("0.9995", (4.38 * 3600, 1.08 * 3600, 21.6 * 60, 5.04 * 60, 43.2, 1.8)),
        ("0.9999", (52.6 * 60, 12.96 * 60, 4.32 * 60, 60.5, 8.64, 0.36)),
        ("0.99999", (5.26 * 60, 1.30 * 60, 25.9, 6.05, 0.87, 0.04)),
    ],
)
def test_the_allowance_agrees_with_the_printed_table(target: str, printed_s: tuple[float, ...]) -> None:
    """SRE, Appendix A: a year of 365 d, a quarter of 90 d, a month of 30 d, a week, a day, an hour.

    The table prints one to three digits: 0.04 for 0.036 and 0.87 for 0.864; all others are within half a percent.
    """
    lengths = [365 * DAY, 90 * DAY, 30 * DAY, 7 * DAY, DAY, HOUR]
    for length, printed in zip(lengths, printed_s, strict=True):
        exact = float(allowance_ns(Fraction(target), length)) / NS_PER_S
        assert exact == pytest.approx(printed, rel={0.04: 0.125, 0.87: 0.007}.get(printed, 0.005))
