"""Delay and loss of an idle line."""

import math
from fractions import Fraction

import pytest

from wanwatch.core.acceptance import Item, Limit, Verdict
from wanwatch.core.acceptance.limits import DelayTerm
from wanwatch.core.acceptance.traffic import Heard, delays, heard, losses, ruled, statistic
from wanwatch.core.model import Kind, Outcome, Role, Sample, Series

PASS, FAIL, OPEN = Verdict.PASS, Verdict.FAIL, Verdict.NOT_DECIDED
NEAR = Series("fibre", "near", Kind.ECHO, Role.LINE)
THOUSANDTH = Fraction(1, 1000)
P95 = Fraction(95, 100)


def sample(outcome: Outcome, rtt_ns: int | None = None) -> Sample:
    """One probe."""
    return Sample(NEAR, 0, 0, 0, outcome, rtt_ns)


def test_only_what_was_sent_and_not_refused_is_counted() -> None:
    """RFC 7680: late and corrupt answers are lost; what could not be sent is a fact about us."""
    outcomes = [Outcome.LOST, Outcome.LATE, Outcome.MALFORMED, Outcome.NOT_SENT, Outcome.REFUSED]
    found = heard([sample(Outcome.ANSWERED, 2_000_000), *map(sample, outcomes)])
    assert found == {"near": Heard((0.002,), lost=3)}


def test_the_percentile_is_that_of_the_handbook() -> None:
    """NIST/SEMATECH e-Handbook 7.2.6.2, its own example: the 90th percentile of these twelve is 95.1981."""
    gauge = (95.1772, 95.1567, 95.1937, 95.1959, 95.1442, 95.0610, 95.1591, 95.1195, 95.1065, 95.0925, 95.1990, 95.1682)
    assert statistic(Heard(tuple(sorted(gauge))), Fraction(9, 10)) == pytest.approx(95.1981, abs=5e-5)


def test_a_lost_probe_sorts_above_every_answer() -> None:
    """RFC 7679: an undefined delay is larger than any other, so enough of them make a percentile infinite."""
    times = tuple(float(n) for n in range(1, 19))
    assert statistic(Heard(times, lost=1), P95) == math.inf
    assert statistic(Heard((*times, 19.0, 20.0), lost=0), P95) == pytest.approx(19.95)
    assert statistic(Heard(times, lost=1), Fraction(1, 2)) == 10.0
    assert statistic(Heard(), P95) is None
    assert statistic(Heard(times, lost=5), None) == 9.5


def delay(found: Heard, limit_ms: int) -> Item:
    """The one item."""
    (item,) = delays({"near": found}, {"near": DelayTerm(limit=Limit(Fraction(limit_ms, 1000), "contract"))})
    return item


def test_delay_is_held_to_its_clause_and_few_probes_decide_nothing() -> None:
    """The limit itself still belongs to what is well."""
    twenty = Heard((0.010,) * 20)
    assert delay(twenty, 10).verdict is PASS
    assert delay(twenty, 9).verdict is FAIL
    assert delay(Heard((0.010,) * 9), 10).verdict is OPEN
    assert delay(Heard((0.010,) * 20, lost=20), 1000).verdict is FAIL


def test_a_target_without_a_clause_is_held_to_the_stated_default() -> None:
    """ITU-T Y.1541 class 0 (from memory): 100 ms each way."""
    (item,) = delays({"far": Heard((0.2,) * 30)}, {})
    assert (item.verdict, item.limit) == (PASS, "p95 at most 200 ms")
    (item,) = delays({"far": Heard((0.2001,) * 30)}, {})
    assert item.verdict is FAIL


@pytest.mark.parametrize(
    ("lost", "sent", "verdict"),
    [
        (0, 1000, PASS),
        (0, 999, OPEN),  # so few cannot show a loss of one in a thousand
        (1, 1000, PASS),
        (2, 1000, OPEN),  # of a line that keeps the limit, 26 tests of 100 lose as many
        (4, 1000, FAIL),  # 1.9 of 100
        (3, 10, FAIL),  # few probes are enough for so much
        (0, 0, OPEN),
    ],
)
def test_loss_is_ruled_on_by_what_chance_explains(lost: int, sent: int, verdict: Verdict) -> None:
    """Exact binomial test at 95 % (Clopper and Pearson 1934); 1 - F(3; 1000, 0.001) = 0.0190 by the binomial itself."""
    assert ruled(lost, sent, THOUSANDTH)[0] is verdict


def test_a_limit_of_no_loss_at_all_fails_with_the_first_one_lost() -> None:
    """Nothing is less than none."""
    assert ruled(1, 5000, Fraction(0))[0] is FAIL
    assert ruled(0, 5000, Fraction(0))[0] is PASS


def test_loss_without_a_clause_is_that_of_all_targets_together() -> None:
    """A clause that names a target is held against that target alone."""
    found = {"near": Heard((0.01,) * 600), "far": Heard((0.01,) * 590, lost=10)}
    (item,) = losses(found, {}, 600.0)
    assert (item.of, item.verdict, item.values["sent"]) == ("", FAIL, 1200)
    (item,) = losses(found, {"near": Limit(Fraction(1, 100), "contract")}, 600.0)
    assert (item.of, item.verdict) == ("near", PASS)
