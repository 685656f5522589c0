"""Figures as people read them: sensible digits, and never a bound that was not reached."""

from fractions import Fraction
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.fakes.month import at
from wanwatch.core.model import NS_PER_S, Bounds
from wanwatch.report.pen import Pen

PEN = Pen(ZoneInfo("Europe/London"))


@pytest.mark.parametrize(
    ("length_s", "said"),
    [
        ("0", "none"),
        ("0.001", "0.1 s"),
        ("8.24", "8.2 s"),
        ("59.94", "59.9 s"),
        ("59.96", "1 min"),
        ("185", "3 min 5 s"),
        ("3599.6", "1 h"),
        ("7620", "2 h 7 min"),
        ("7199.9", "2 h"),
        ("172799", "2 d"),
        ("274000", "3 d 4 h"),
    ],
)
def test_a_length_of_time_is_said_in_two_units_at_most(length_s: str, said: str) -> None:
    """What is there is never said to be none, and no unit overflows into the next."""
    assert PEN.duration(Fraction(length_s) * NS_PER_S) == said


def test_a_figure_without_a_unit_has_the_decimals_it_is_given() -> None:
    """A score of 4.4094 is read as 4.41, a mean length of 5/4 as 1.2."""
    assert (PEN.decimal(4.4094, 2), PEN.decimal(Fraction(5, 4), 1)) == ("4.41", "1.2")


@pytest.mark.parametrize(
    ("ratio", "said"),
    [
        ("0", "0%"),
        ("1", "100%"),
        ("0.99874", "99.874%"),
        ("0.9999999", "99.99999%"),
        ("0.0000001", "0.00001%"),
        ("0.00000000001", "less than 0.000001%"),
        ("0.99999999999", "more than 99.999999%"),
    ],
)
def test_a_ratio_is_rounded_but_never_to_a_bound_it_has_not_reached(ratio: str, said: str) -> None:
    """One lost probe is not no loss, and one second down is not all up."""
    assert PEN.per_cent(Fraction(ratio)) == said


@given(st.fractions(0, 1))
def test_only_nothing_is_0_and_only_everything_is_100_per_cent(ratio: Fraction) -> None:
    """For every ratio there is."""
    said = PEN.per_cent(ratio)
    assert (float(said.split()[-1].rstrip("%")) in {0.0, 100.0}) == (ratio in {0, 1})


@pytest.mark.parametrize(
    ("figure_us", "said"),
    [
        (None, "—"),
        (float("inf"), "no answer"),
        (440, "0.44 ms"),
        (9087, "9.09 ms"),
        (10_435, "10.4 ms"),
        (123_456, "123 ms"),
    ],
)
def test_a_delay_has_three_digits(figure_us: float | None, said: str) -> None:
    """More would claim what the clocks do not know."""
    exact = Fraction(figure_us) if isinstance(figure_us, int) else figure_us
    assert PEN.milliseconds(exact) == said


def test_instants_are_told_in_the_site_s_zone_with_their_offset() -> None:
    """The hour that comes twice can be told apart."""
    assert PEN.instant(at("25 00:30:00")) == "Sun 25 Oct 01:30:00 +01:00"
    assert PEN.instant(at("25 01:30:00")) == "Sun 25 Oct 01:30:00 +00:00"
    assert PEN.moment(at("13 13:03:20")) == "Tue 13 Oct at 14:03"


def test_bounds_are_told_to_the_tenth_of_a_second() -> None:
    """An instant lies between two probes."""
    start = at("13 13:03:20")
    assert PEN.bounds(Bounds(start, start - 800_000_000, start)) == "14:03:19.2 to 14:03:20.0"


def test_large_numbers_are_set_in_groups_of_three() -> None:
    """ISO 80000-1: a small space, and no comma that could be a decimal sign."""
    assert PEN.count(2_668_008) == "2\u202f668\u202f008"
    assert PEN.seconds(2_668_008_190_000_000) == "2\u202f668\u202f008.2"


def test_a_length_reads_the_same_in_seconds_and_in_words() -> None:
    """17.87 s are 17.9 s in either column."""
    assert (PEN.seconds(17_870_000_000), PEN.duration(17_870_000_000)) == ("17.9", "17.9 s")
