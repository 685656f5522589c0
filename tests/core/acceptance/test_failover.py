"""A drill's record as one item of an acceptance test."""

from fractions import Fraction

import pytest

from wanwatch.core.acceptance import Limit, Verdict
from wanwatch.core.acceptance.failover import not_rehearsed, rehearsed
from wanwatch.core.model import Bounds, Event, EventKind, Json

PASS, FAIL, OPEN = Verdict.PASS, Verdict.FAIL, Verdict.NOT_DECIDED
THIRTY = Limit(Fraction(30), "contract")


def drill(moved: str = "yes", back: str = "yes", cut_s: float | None = 4.2, outcome: str = "done") -> Event:
    """A drill with these answers."""
    answers: list[Json] = [
        {"about": "moved", "answer": moved, "says": "to copper", "values": {}},
        {"about": "cut-off", "answer": "measured", "says": "4.2 s", "values": {"interruption_s": cut_s}},
        {"about": "back", "answer": back, "says": "to fibre", "values": {}},
    ]
    at = Bounds(0, 0, 0)
    detail: dict[str, Json] = {"outcome": outcome, "answers": answers, "why": "it was stopped by hand"}
    return Event("drill-1", "site", EventKind.DRILL, "fibre", at, at, drill=True, detail=detail)


@pytest.mark.parametrize(
    ("event", "limit", "verdict"),
    [
        (drill(), None, PASS),
        (drill(), THIRTY, PASS),
        (drill(cut_s=30.0), THIRTY, PASS),
        (drill(cut_s=30.1), THIRTY, FAIL),
        (drill(cut_s=None), THIRTY, OPEN),
        (drill(cut_s=None), None, PASS),
        (drill(moved="no"), None, FAIL),
        (drill(back="no"), None, FAIL),
        (drill(back="not-measured"), None, OPEN),
        (drill(outcome="given-up"), None, OPEN),
    ],
)
def test_a_drill_passes_where_traffic_moved_and_came_back_in_time(
    event: Event, limit: Limit | None, verdict: Verdict
) -> None:
    """What was not seen is never a pass, and no limit is no breach."""
    assert rehearsed(event, limit).verdict is verdict


def test_a_failover_that_nobody_rehearsed_is_not_decided_with_its_reason() -> None:
    """A second line that was never tried is a hope."""
    item = not_rehearsed("Nobody was there to be asked.")
    assert (item.verdict, item.reason) == (OPEN, "Nobody was there to be asked.")
