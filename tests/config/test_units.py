"""Values with units: exact both ways, and every slip gets its mend."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wanwatch.config import units
from wanwatch.config.units import Hours, Money, Schedule, Unfit

ANYTHING = st.one_of(st.text(), st.integers(), st.floats(), st.booleans(), st.none(), st.lists(st.integers()))
PARSERS = (units.duration, units.rate, units.monthly_size, units.share, units.hours, units.schedule, units.money)


@pytest.mark.parametrize(
    ("written", "length_ns"),
    [
        ("200ms", 200_000_000),
        ("5s", 5_000_000_000),
        ("2m", 120_000_000_000),
        ("4h", 14_400_000_000_000),
        ("30d", 2_592_000_000_000_000),
        ("1.5 s", 1_500_000_000),
        ("20us", 20_000),
    ],
)
def test_a_duration_is_its_nanoseconds(written: str, length_ns: int) -> None:
    """Durations are written with a unit and become integer nanoseconds."""
    assert units.duration(written) == length_ns


@given(st.integers(min_value=1, max_value=units.LONGEST_NS // 1000).map(lambda us: us * 1000))
def test_a_duration_survives_being_written_and_read(length_ns: int) -> None:
    """What the program shows, it reads again to the same value."""
    assert units.duration(units.show_duration(length_ns)) == length_ns


@given(st.integers(min_value=1, max_value=10**12))
def test_a_rate_survives_being_written_and_read(bits_per_s: int) -> None:
    """What the program shows, it reads again to the same value."""
    assert units.rate(units.show_rate(bits_per_s)) == bits_per_s


@given(st.decimals(min_value=0, max_value=100, places=9))
def test_a_share_survives_being_written_and_read(percent: Decimal) -> None:
    """A contract's limit is kept exactly: no binary fraction stands between."""
    ratio = percent.scaleb(-2)
    assert units.share(units.show_share(ratio)) == ratio


@given(ANYTHING)
def test_no_parser_raises_anything_but_unfit(value: object) -> None:
    """Whatever stands in the file, the answer is a value or a reason."""
    for parse in PARSERS:
        try:
            parse(value)
        except Unfit as unfit:
            assert unfit.reason  # noqa: PT017 - most values are unfit, some are not
            assert unfit.mend  # noqa: PT017 - likewise


def test_a_share_of_99_9_percent_is_exactly_999_thousandths() -> None:
    """A share is a decimal ratio, not the nearest float."""
    assert units.share("99.9%") == Decimal("0.999")


@pytest.mark.parametrize(
    ("written", "expected"),
    [
        ("20:00-22:00", Hours(1200, 1320)),
        ("22:00-06:00", Hours(1320, 360)),
        ("0:00-24:00", Hours(0, 1440)),
    ],
)
def test_hours_may_pass_midnight_and_end_at_24(written: str, expected: Hours) -> None:
    """Hours are minutes of the local day; an end before the start lies on the next day."""
    assert units.hours(written) == expected


def test_a_schedule_has_an_interval_and_a_jitter() -> None:
    """`every` alone has none."""
    assert units.schedule("every 2h jitter 20m") == Schedule(7_200_000_000_000, 1_200_000_000_000)
    assert units.schedule("every 2h") == Schedule(7_200_000_000_000, 0)


def test_money_is_exact() -> None:
    """A fee is a decimal with its currency."""
    assert units.money("120.10 GBP") == Money(Decimal("120.10"), "GBP")


def test_monthly_sizes_are_decimal_unless_they_say_otherwise() -> None:
    """GB is 10**9 bytes as data is sold; GiB is 2**30 (IEC 80000-13, from memory)."""
    assert units.monthly_size("2 GB/month") == 2 * 10**9
    assert units.monthly_size("2GiB/month") == 2 * 2**30


@pytest.mark.parametrize(
    ("parse", "value", "text"),
    [
        (units.duration, 5, 'a duration needs its unit; write it as text with a unit, such as "5s"'),
        (units.duration, "5", 'not a duration; write a number and one of us, ms, s, m, h, d, such as "5s"'),
        (units.duration, "5 min", 'not a duration; write a number and one of us, ms, s, m, h, d, such as "5s"'),
        (units.duration, "0s", 'a duration is more than nothing; write one such as "5s"'),
        (units.duration, "0.0001us", "finer than this program counts a duration; write it with fewer decimals"),
        (units.duration, "5000d", "longer than ten years; write a shorter one"),
        (units.duration, True, 'not a duration; write text, such as "5s"'),
        (units.rate, 450, 'a rate needs its unit; write it as text with a unit, such as "450Mbps"'),
        (units.rate, "450mbps", 'not a rate; write a number and one of bps, kbps, Mbps, Gbps, such as "450Mbps"'),
        (units.monthly_size, "2 GB", 'not an amount of data a month; write it such as "2 GB/month"'),
        (units.share, 0.999, 'a share needs its unit; write it as text with a unit, such as "99.9%"'),
        (units.share, "101%", 'more than the whole; write at most "100%"'),
        (units.share, "\u0663%", 'not a share; write a number and a percent sign, such as "99.9%"'),
        (units.hours, "8-18", 'not a range of hours; write it such as "20:00-22:00"'),
        (units.hours, "25:00-26:00", 'no clock shows these hours; write hours from "00:00" to "24:00"'),
        (
            units.hours,
            "20:00-20:00",
            'it begins and ends at once; write two different hours, or leave "hours" out for the whole day',
        ),
        (
            units.schedule,
            "every 2h jitter 2h",
            "the jitter is longer than half the interval; write a shorter jitter",
        ),
        (
            units.money,
            "120 pounds",
            'not a sum of money; write the sum and the currency\'s three letters, such as "120.00 GBP"',
        ),
    ],
)
def test_an_unfit_value_says_why_and_what_to_write(parse: object, value: object, text: str) -> None:
    """Every refusal names its reason and its mend."""
    assert callable(parse)
    with pytest.raises(Unfit) as caught:
        parse(value)
    assert str(caught.value) == text
