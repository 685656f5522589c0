"""Promises of speed: one share of the tests, decided by the exact binomial test."""

from typing import Final

from wanwatch.core.account.clauses import Because, Ruling, Verdict
from wanwatch.core.account.proportion import still_needed
from wanwatch.core.account.speed_tests import reached, rule_share, share_reached, speeds
from wanwatch.report.rulings.case import Case, Found

_TOO_FAST: Final = Ruling(Verdict.UNDECIDED, Because.BEYOND_HANDOFF)


def speed(case: Case) -> Found:
    """Find the share of the tests that count which reached the speed.

    Evidence are the tests that missed it; of a peak, which most of them need not reach, those that reached it.
    """
    promise = case.within.promise
    bps = promise.speed_bps or 0
    tests = speeds((test for test in case.tests if case.counts_at(test.at_unix_ns)), promise.measure.partition("-")[2])
    well = reached(tests.counted, bps)
    ruling = rule_share(len(well), len(tests.counted), promise.limit)
    open_ = ruling.because is Because.TOO_FEW_TESTS
    too_fast = case.plan.best_bps is not None and bps > case.plan.best_bps
    return Found(
        figure=share_reached(len(well), len(tests.counted)),
        samples=len(tests.counted),
        evidence=tuple(test.id for test in tests.counted if (test in well) is (promise.statistic == "peak")),
        ruling=_TOO_FAST if too_fast else ruling,
        needed=still_needed(len(well), len(tests.counted), promise.limit) if open_ and not too_fast else None,
    )
