"""Which speed tests count, which are kept apart, and what a share of them decides."""

import json
from dataclasses import replace
from fractions import Fraction

import pytest

from wanwatch.core.account.clauses import Because, Ruling, Verdict
from wanwatch.core.account.speed import Goodput, Limit
from wanwatch.core.account.speed_result import Direction, Ending, Run, SpeedResult
from wanwatch.core.account.speed_tests import reached, read_tests, rule_share, share_reached, speeds
from wanwatch.core.model import Json, Measurement, MeasurementKind

RUN: dict[str, Json] = {
    "ending": "done", "goodput": {"bps": 461_000_000.5}, "steady": True, "limited_by": "line", "counts": True,
}  # fmt: skip


def kept(at_s: int = 0, **down: Json) -> Measurement:
    result: dict[str, Json] = {"down": {**RUN, **down}, "up": None}
    return Measurement(at_s * 10**9, "fibre", MeasurementKind.SPEED, result)


@pytest.mark.parametrize(
    ("measured", "why"),
    [
        (kept(), None),
        (kept(ending="capped"), None),
        (kept(busy=True), "busy"),
        (Measurement(0, "fibre", MeasurementKind.SPEED, {"down": RUN, "busy": True}), "busy"),
        (kept(ending="stalled"), "stalled"),
        (kept(ending="unreachable", goodput=None, counts=False), "unreachable"),
        (kept(counts=False, limited_by="far-end"), "limited-by-far-end"),
        (kept(counts=False, limited_by="unknown"), "limited-by-unknown"),
        (kept(steady=False), "not-steady"),
    ],
)
def test_a_test_counts_only_where_the_line_alone_held_it_up(measured: Measurement, why: str | None) -> None:
    """Anything else says nothing of the line, and is kept apart with its reason."""
    (test,) = read_tests(measured)
    assert (test.direction, test.apart) == ("down", why)


def test_what_the_record_does_not_hold_as_it_should_is_no_test() -> None:
    """A record may be of another version, or damaged."""
    odd: list[Json] = ["down", None, 7, [], {"goodput": {"bps": True}}]
    for down in odd:
        for test in read_tests(Measurement(0, "fibre", MeasurementKind.SPEED, {"down": down})):
            assert test.apart is not None


def test_median_and_tenth_percentile_are_of_the_tests_that_count() -> None:
    """NIST 7.2.6.2 of 100 to 900 Mbit/s: the median is the fifth, a tenth of ten places is the first."""
    tests = [test for n in range(1, 10) for test in read_tests(kept(n, goodput={"bps": n * 1e8}))]
    slow = read_tests(kept(99, goodput={"bps": 1.0}, counts=False, limited_by="processor"))
    found = speeds([*slow, *reversed(tests)], "down")
    assert (found.median_bps, found.p10_bps, len(found.counted)) == (5e8, 1e8, 9)
    assert found.reasons == {"limited-by-processor": 1}
    assert speeds(tests, "up").median_bps is None
    assert [test.bps for test in reached(found.counted, 800_000_000)] == [8e8, 9e8]


def test_a_test_has_a_name_like_an_event() -> None:
    """Kind, line, direction and instant."""
    assert read_tests(kept(1_790_000_000))[0].id == "speed-fibre-down-2026-09-21T14:13:20.000000Z"


@pytest.mark.parametrize(
    ("successes", "trials", "share", "said"),
    [
        (60, 60, "0.95", Ruling(Verdict.MET, Because.TESTS_SHOW)),
        (50, 60, "0.95", Ruling(Verdict.BREACHED, Because.TESTS_SHOW)),
        (29, 30, "0.95", Ruling(Verdict.UNDECIDED, Because.TOO_FEW_TESTS)),
        (0, 0, "0.95", Ruling(Verdict.UNDECIDED, Because.NOTHING_SEEN)),
        (30, 30, "1", Ruling(Verdict.UNDECIDED, Because.TOO_FEW_TESTS)),
        (29, 30, "1", Ruling(Verdict.BREACHED, Because.TESTS_SHOW)),
    ],
)
def test_a_share_of_tests_is_one_promise(successes: int, trials: int, share: str, said: Ruling) -> None:
    """Decided by the exact binomial test at 95 %; no number of tests proves "always"."""
    assert rule_share(successes, trials, Fraction(share)) == said


def test_without_tests_the_share_can_be_anything() -> None:
    """Nothing is claimed of none."""
    found = share_reached(0, 0)
    assert (found.value, found.low, found.high) == (None, 0, 1)


def test_what_a_speed_test_tells_of_itself_is_what_is_read() -> None:
    """The result's own JSON, there and back as the record keeps it."""
    goodput = Goodput(bps=4.5e8, seconds=10.0, low_bps=4e8, median_bps=4.5e8, high_bps=4.6e8, bins=100)
    down = Run(direction=Direction.DOWN, ending=Ending.DONE, goodput=goodput, steady=True, limited_by=Limit.LINE)
    up = replace(down, direction=Direction.UP, limited_by=Limit.WINDOW)
    result = SpeedResult(site="s", uplink="fibre", at_unix_ns=7, server="http://192.0.2.80/", runs=(down, up))
    kept_json = json.loads(json.dumps(result.to_json()))
    found = read_tests(Measurement(7, "fibre", MeasurementKind.SPEED, kept_json))
    assert [(t.direction, t.bps, t.apart) for t in found] == [("down", 4.5e8, None), ("up", 4.5e8, "limited-by-window")]
