"""Shares of speed tests against published intervals, and the counting rule of a national regulator.

Sources: C. J. Clopper and E. S. Pearson, Biometrika
26, 1934, by SciPy's beta distribution; Bundesnetzagentur, general ruling of 8 December 2021 on fixed lines (the share
of measurements that have to reach the usual speed).
"""

from fractions import Fraction

import pytest
from scipy.stats import beta, binom

from wanwatch.core.account.clauses import Verdict
from wanwatch.core.account.speed_tests import rule_share, share_reached


@pytest.mark.parametrize(("successes", "trials"), [(27, 30), (26, 30), (1, 372), (371, 372), (186, 372)])
def test_the_limits_are_those_of_clopper_and_pearson(successes: int, trials: int) -> None:
    """Quantiles of the beta distribution, as SciPy reckons them."""
    found = share_reached(successes, trials)
    assert found.low is not None
    assert found.high is not None
    assert float(found.low) == pytest.approx(beta.ppf(0.05, successes, trials - successes + 1), abs=1e-9)
    assert float(found.high) == pytest.approx(beta.ppf(0.95, successes + 1, trials - successes), abs=1e-9)


@pytest.mark.parametrize(("successes", "reaches"), [(27, True), (26, False)])
def test_thirty_measurements_count_as_the_regulator_counts_them_and_prove_less(successes: int, reaches: bool) -> None:  # noqa: FBT001
    """27 of 30 are exactly 90 % and 26 are 86.67 %: the counting rule; neither is beyond chance at 95 %."""
    share = Fraction(9, 10)
    found = share_reached(successes, 30)
    assert found.value is not None
    assert (found.value >= share) is reaches
    assert rule_share(successes, 30, share).verdict is Verdict.UNDECIDED


@pytest.mark.parametrize("trials", [30, 100, 372])
@pytest.mark.parametrize("share", ["0.05", "0.9", "0.95"])
def test_verdicts_turn_where_the_binomial_distribution_does(trials: int, share: str) -> None:
    """SciPy's binomial tails: met from the first number that is a surprise, breached up to the last that is one."""
    promised = Fraction(share)
    for successes in range(trials + 1):
        many = binom.sf(successes - 1, trials, float(share)) < 0.05
        few = binom.cdf(successes, trials, float(share)) < 0.05
        expected = Verdict.MET if many else Verdict.BREACHED if few else Verdict.UNDECIDED
        assert rule_share(successes, trials, promised).verdict is expected, successes
