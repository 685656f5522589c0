"""Speed tests, and delay while they run, held to what was sold."""

from dataclasses import replace
from fractions import Fraction

import pytest

from wanwatch.core.acceptance import Limit, Terms, Verdict
from wanwatch.core.acceptance.limits import ETHERNET_MTU, SpeedTerm
from wanwatch.core.acceptance.speed import speeds, untested
from wanwatch.core.account.speed import Goodput
from wanwatch.core.account.speed import Limit as Held
from wanwatch.core.account.speed_result import Delay, Direction, Ending, Run, SpeedResult

PASS, FAIL, OPEN = Verdict.PASS, Verdict.FAIL, Verdict.NOT_DECIDED
SOLD = 100_000_000
FLOOR = Fraction(95, 100)


def run(mbps: float | None, limited_by: Held = Held.LINE, p95_s: float | None = 0.05) -> Run:
    """One direction of one test."""
    bps = (mbps or 0) * 1e6
    found = Goodput(bps=bps, seconds=10, low_bps=bps, median_bps=bps, high_bps=bps, bins=100)
    seen = Delay(kind="stamp", sent=100, lost=0, least_s=p95_s, mean_s=p95_s, median_s=p95_s, high_s=p95_s)
    measured = mbps is not None
    return Run(
        direction=Direction.DOWN, ending=Ending.DONE if measured else Ending.STALLED,
        goodput=found if measured else None, limited_by=limited_by, idle=replace(seen, high_s=0.009), loaded=seen,
    )  # fmt: skip


def judged(*runs: Run, share: Fraction | None = None) -> list[Verdict]:
    """Verdicts on speed down and on delay while downloading, where 100 Mbit/s are asked for."""
    results = [SpeedResult(site="s", uplink="fibre", at_unix_ns=0, server="", runs=(one,)) for one in runs]
    term = SpeedTerm(limit=Limit(Fraction(SOLD), "contract"), share=share)
    terms = Terms(mtu=ETHERNET_MTU, delays={}, losses={}, speeds={"down": term})
    items = speeds(results, terms)
    return [items[0].verdict, items[2].verdict]


@pytest.mark.parametrize(
    ("runs", "most", "floor"),
    [
        ((run(100), run(101), run(102)), PASS, PASS),
        ((run(100), run(101), run(99)), PASS, OPEN),  # one of three: 14 of 100 lines that keep 95 % show it
        ((run(100), run(99), run(99)), FAIL, FAIL),
        ((run(100), run(99)), OPEN, OPEN),
        ((run(100), run(101), run(None)), PASS, OPEN),
        ((run(None), run(None), run(None)), OPEN, OPEN),
    ],
)
def test_most_tests_have_to_reach_what_was_sold_and_a_share_of_them_a_floor(
    runs: tuple[Run, ...], most: Verdict, floor: Verdict
) -> None:
    """Exact binomial test at 95 % of the clause's share; of a speed that is sold, most tests decide."""
    assert judged(*runs)[0] is most
    assert judged(*runs, share=FLOOR)[0] is floor


@pytest.mark.parametrize("held", [one for one in Held if one is not Held.LINE])
def test_a_run_that_the_line_did_not_limit_never_counts_against_it(held: Held) -> None:
    """RFC 5136: capacity is of a path, so what something else limits says nothing about it. What came through did."""
    slow, quick = run(50, held), run(150, held)
    assert judged(slow, slow, slow, share=FLOOR)[0] is OPEN
    assert judged(quick, quick, quick, share=FLOOR)[0] is PASS


def test_a_run_beside_other_traffic_says_why_it_decides_nothing() -> None:
    """What the office itself carried meanwhile is no fault of the line."""
    crowded = replace(run(50), busy=True)
    result = SpeedResult(site="s", uplink="fibre", at_unix_ns=0, server="", runs=(crowded,))
    term = SpeedTerm(limit=Limit(Fraction(SOLD), "contract"))
    item = speeds([result], Terms(mtu=ETHERNET_MTU, delays={}, losses={}, speeds={"down": term}))[0]
    assert (item.verdict, item.reason[:31]) == (OPEN, "The line carried other traffic ")


def test_without_a_contracted_speed_nothing_is_decided() -> None:
    """A port's rate is not what was sold."""
    terms = Terms(mtu=ETHERNET_MTU, link_bps=10**9, delays={}, losses={}, speeds={})
    result = SpeedResult(site="s", uplink="fibre", at_unix_ns=0, server="", runs=(run(900),))
    assert {item.verdict for item in speeds([result], terms)[:2]} == {OPEN}
    assert {item.verdict for item in untested("nobody is named to test against")} == {OPEN}


def test_delay_under_load_is_that_of_runs_that_filled_the_line() -> None:
    """ITU-T Y.1541 class 0 (from memory): 100 ms each way. A line that was not full was not under load."""
    assert judged(run(100, p95_s=0.2))[1] is PASS
    assert judged(run(100, p95_s=0.201))[1] is FAIL
    assert judged(run(100, Held.PROCESSOR, p95_s=0.5))[1] is OPEN
    assert judged(run(100, p95_s=None))[1] is OPEN
