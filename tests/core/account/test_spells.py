"""The longest trouble and the number of troubles, with what unobserved time could have made of them."""

import math
from dataclasses import replace
from fractions import Fraction

from wanwatch.core.account.figures import Bounded
from wanwatch.core.account.spells import USUAL_LEAST, Spell, longest, number
from wanwatch.core.model import NS_PER_S, Bounds, Event, EventKind, Span

HOUR_S = 3600


def span(start_s: float, end_s: float) -> Span:
    return Span(round(start_s * NS_PER_S), round(end_s * NS_PER_S))


def outage(start_s: int, end_s: int | None) -> Event:
    """Begins within the second before *start_s*, ends within the second before *end_s*."""
    return Event(
        id=f"outage-{start_s}", site="s", kind=EventKind.OUTAGE, uplink="fibre",
        start=Bounds(start_s * NS_PER_S, (start_s - 1) * NS_PER_S, start_s * NS_PER_S),
        end=None if end_s is None else Bounds(end_s * NS_PER_S, (end_s - 1) * NS_PER_S, end_s * NS_PER_S),
    )  # fmt: skip


TWO = [Spell.of(outage(100, 160), 10**18), Spell.of(outage(5000, 5600), 10**18)]
DAY = [span(0, 24 * HOUR_S)]


def test_the_longest_outage_has_the_bounds_of_its_event() -> None:
    """600 s by the estimates; its begin and its end are each known to a second."""
    assert longest(TWO, DAY, []) == Bounded(value=Fraction(600), low=Fraction(599), high=Fraction(601))
    assert longest([], DAY, []) == Bounded(value=Fraction(0), low=Fraction(0), high=Fraction(0))


def test_unobserved_time_beside_an_outage_could_have_been_part_of_it() -> None:
    """Half an hour unseen right after the outage: 2401 s at the most; a gap elsewhere counts by itself."""
    assert longest(TWO, DAY, [span(5600, 7400)]).high == 2401
    assert longest(TWO, DAY, [span(9000, 9700)]).high == 700


def test_what_of_an_outage_was_not_seen_is_not_sure() -> None:
    """An outage that was told over a gap of 100 s is sure to have lasted on each side of it only."""
    assert longest(TWO, DAY, [span(5100, 5200)]).low == 399


def test_only_measured_time_counts() -> None:
    """Of 600 s the first 200 lie in the hours that count."""
    assert longest(TWO, [span(0, 5200)], []).value == 200


def test_an_outage_that_goes_on_can_come_to_any_length() -> None:
    """And it is at least as long as it is now."""
    found = longest([Spell.of(outage(100, None), 400 * NS_PER_S)], DAY, [])
    assert found == Bounded(value=Fraction(300), low=Fraction(300), high=math.inf)


def test_outages_are_counted_by_their_length() -> None:
    """Of a minute and ten minutes one is longer than five."""
    assert number(TWO, DAY, [], longer_than_ns=0, least=USUAL_LEAST).value == 2
    assert number(TWO, DAY, [], longer_than_ns=300 * NS_PER_S, least=USUAL_LEAST).value == 1
    edge = number(TWO, DAY, [], longer_than_ns=60 * NS_PER_S, least=USUAL_LEAST)
    assert edge == Bounded(value=Fraction(1), low=Fraction(1), high=Fraction(2))  # the minute may have been 61 s


def test_a_gap_holds_as_many_outages_as_fit_into_it() -> None:
    """Of 5 s each with 30 s between: none in 4 s, one in 39 s, two in 40 s, and of ten minutes each one in 20 min."""

    def hidden(gap_s: int, longer_s: int = 0) -> Fraction | float | None:
        return number([], DAY, [span(0, gap_s)], longer_than_ns=longer_s * NS_PER_S, least=USUAL_LEAST).high

    assert [hidden(4), hidden(5), hidden(39), hidden(40)] == [0, 1, 1, 2]
    assert hidden(1200, longer_s=600) == 1
    assert hidden(1230, longer_s=600) == 2


def test_an_outage_that_a_gap_may_have_prolonged_may_count_as_a_long_one() -> None:
    """A minute, and 14 min 50 s unseen right after it: together they are longer than a quarter of an hour."""

    def high(*gaps: Span) -> Fraction | float | None:
        return number(TWO[:1], DAY, gaps, longer_than_ns=900 * NS_PER_S, least=USUAL_LEAST).high

    assert [high(), high(span(160, 1050)), high(span(900, 1790))] == [0, 1, 0]


def test_outages_on_both_sides_of_a_gap_may_have_been_one() -> None:
    """Nobody saw the line come back in between; where somebody did, they are two."""

    def low(*gaps: Span) -> Fraction | float | None:
        return number(TWO, DAY, gaps, longer_than_ns=0, least=USUAL_LEAST).low

    assert [low(span(160, 4999)), low(span(170, 4999)), low(span(160, 4990))] == [1, 2, 2]


def test_a_spell_whose_bounds_cross_is_sure_of_no_length() -> None:
    """An outage shorter than what its begin and end are known to."""
    short = replace(outage(100, 100), end=Bounds(100 * NS_PER_S, 99 * NS_PER_S, 100 * NS_PER_S))
    assert Spell.of(short, 0).surely.length_ns == 0
