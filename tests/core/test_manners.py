"""What holds a speed test off. The rules are ours; each row of the table is one of them."""

import pytest

from wanwatch.core.manners import SETTLE_NS, WORDS, Reason, Standing, held_off
from wanwatch.core.model import UNPINNED, Bounds, Event, EventKind, State

NOW = Bounds(1000, 1000, 1000)


def event(kind: EventKind, uplink: str | None = None, *, over: bool = False, **detail: str) -> Event:
    return Event("an id", "harbour-lane", kind, uplink, start=NOW, end=NOW if over else None, detail=detail)


@pytest.mark.parametrize(
    ("known", "reason"),
    [
        ({}, None),
        ({"state": State.IMPAIRED}, None),  # a slow line is what a test is for
        ({"state": None}, Reason.UNOBSERVED),
        ({"state": State.UNOBSERVED}, Reason.UNOBSERVED),
        ({"state": State.DOWN}, Reason.DOWN),
        ({"quick": {"fibre"}}, Reason.UNSETTLED),
        ({"quick": {"copper"}}, None),  # the other line's trouble
        ({"quick": {UNPINNED}}, Reason.SWITCHING),
        ({"moved_ago_ns": SETTLE_NS - 1}, Reason.SWITCHING),
        ({"moved_ago_ns": SETTLE_NS}, None),
        ({"events": [event(EventKind.BLACKOUT)]}, Reason.SWITCHING),
        ({"events": [event(EventKind.FAILOVER, over=True)]}, None),
        ({"events": [event(EventKind.DRILL, "copper")]}, Reason.DRILL),  # it moves the whole site's traffic
        ({"events": [event(EventKind.PLANNED_WORK, "fibre", announced="beforehand")]}, Reason.PLANNED_WORK),
        ({"events": [event(EventKind.PLANNED_WORK, None, announced="beforehand")]}, Reason.PLANNED_WORK),
        ({"events": [event(EventKind.PLANNED_WORK, "copper", announced="beforehand")]}, None),
        ({"events": [event(EventKind.PLANNED_WORK, "fibre", announced="afterwards")]}, None),  # a remark
        ({"needs": 10**8, "left": 10**8}, None),
        ({"needs": 10**8, "left": 10**8 - 1}, Reason.BUDGET),
        ({"needs": 10**8, "left": None}, None),
    ],
)  # fmt: skip
def test_a_test_is_held_off_for_a_reason_or_not_at_all(known: dict[str, object], reason: Reason | None) -> None:
    """Never in an outage, a drill, planned work or a switch, out of sight, or beyond the budget."""
    usual: dict[str, object] = {"uplink": "fibre", "state": State.UP}
    assert held_off(Standing(**(usual | known))) is reason  # type: ignore[arg-type]  # the table is typed loosely


def test_the_first_reason_is_the_one_that_is_told() -> None:
    """Of a line that is down in a drill, the drill's own doing, the line's state says more to whoever reads."""
    now = Standing(uplink="fibre", state=State.DOWN, quick={"fibre"}, events=[event(EventKind.DRILL)], needs=1, left=0)
    assert held_off(now) is Reason.DOWN


def test_every_reason_has_its_words() -> None:
    """A test that was skipped says why."""
    assert set(WORDS) == set(Reason)
