"""Percentiles of delay with unanswered probes, and the loss ratio.

Sources: RFC 2679 section 5 (worked examples, from memory), RFC 7679, RFC 7680, RFC 6673 (from memory);
NIST/SEMATECH e-Handbook 7.2.6.2 (the rule and its worked example).
"""

import math
import statistics
from fractions import Fraction

import pytest

from wanwatch.core.account.figures import Ranked, loss_ratio, percentile

NIST = (
    951772, 951567, 951937, 951959, 951442, 950610, 951591, 951195, 951065, 950925, 951990, 951682,
)  # fmt: skip
"""The handbook's twelve measurements, in ten-thousandths."""


def ranked(*delays: int | None) -> Ranked:
    """Probes with these delays; None for one without an answer."""
    answered = sorted(delay for delay in delays if delay is not None)
    return Ranked(lambda rank: answered[rank - 1], len(answered), len(delays) - len(answered))


def test_the_median_counts_an_undefined_delay_as_infinite() -> None:
    """RFC 2679 section 5: of 100, 110, undefined, 90 and 500 ms it is 110 ms."""
    assert percentile(ranked(100, 110, None, 90, 500), Fraction(1, 2)) == 110


def test_the_median_of_an_even_number_is_the_mean_of_the_two_in_the_middle() -> None:
    """RFC 2679 section 5: of 100, 110, undefined and 90 ms it is 105 ms."""
    assert percentile(ranked(100, 110, None, 90), Fraction(1, 2)) == 105


def test_when_nothing_was_answered_delay_is_infinite_and_loss_is_one() -> None:
    """RFC 7679, RFC 7680: no delay is defined, every probe is lost."""
    assert percentile(ranked(None, None), Fraction(1, 2)) == math.inf
    assert loss_ratio(2, 2) == 1


def test_when_nothing_was_asked_both_are_undefined() -> None:
    """RFC 6673: the ratio of an empty sample is not zero."""
    assert percentile(ranked(), Fraction(1, 2)) is None
    assert loss_ratio(0, 0) is None


def test_two_of_ten_unanswered_is_a_fifth() -> None:
    """RFC 7680: 10 sent, 8 answered; a second answer to one of them changes nothing."""
    assert loss_ratio(2, 10) == Fraction(1, 5)


@pytest.mark.parametrize(
    ("share", "expected"),
    [("0.90", "951980.7"), ("0.50", "951579"), ("0.95", "951990"), ("0.99", "951990"), ("0.05", "950610")],
)
def test_percentiles_follow_the_handbook(share: str, expected: str) -> None:
    """NIST 7.2.6.2 with its own data: 95.1981 printed for p = 0.90, 95.19807 to full precision."""
    assert percentile(ranked(*NIST), Fraction(share)) == Fraction(expected)


def test_the_rule_is_the_standard_library_s_exclusive_method() -> None:
    """Two implementations of one definition, over every decile."""
    deciles = statistics.quantiles(NIST, n=10, method="exclusive")
    ours = [percentile(ranked(*NIST), Fraction(tenth, 10)) for tenth in range(1, 10)]
    assert [float(x or 0) for x in ours] == pytest.approx(deciles, rel=1e-15)


def test_one_probe_is_every_percentile_of_itself() -> None:
    """NIST 7.2.6.2: below the first rank and above the last, the value is held."""
    assert {percentile(ranked(7), Fraction(p, 100)) for p in (1, 50, 99)} == {7}
