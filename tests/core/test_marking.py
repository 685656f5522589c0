"""Causes of switches that follow from what was announced."""

from dataclasses import replace

import pytest

from wanwatch.core.marking import put_down
from wanwatch.core.model import Bounds, Event, EventKind

AT = Bounds(0, 0, 0)
SWITCH = Event("e", "s", EventKind.FAILOVER, None, AT, from_uplink="fibre", to_uplink="copper")


@pytest.mark.parametrize(
    ("seen", "planned", "drill", "told"),
    [
        ("unknown", True, False, "by-hand"),
        ("line-down", True, False, "line-down"),  # what was seen goes before what was announced
        ("unknown", False, False, "unknown"),
        ("line-down", False, True, "drill"),
        ("unknown", True, True, "drill"),
    ],
)
def test_a_switch_is_put_down_to_what_was_announced(seen: str, planned: bool, drill: bool, told: str) -> None:  # noqa: FBT001 - columns
    """An unseen cause in planned work is a hand's, and a drill is the cause of what it brings about."""
    event = replace(SWITCH, planned=planned, drill=drill, detail={"cause": seen, "hand": "route"})
    assert put_down([event]) == [replace(event, detail={"cause": told, "hand": "route"})]


def test_what_is_no_switch_keeps_its_words() -> None:
    """An outage in a drill has no cause in this sense, nor has a restoration, which leaves no line behind."""
    outage = replace(SWITCH, kind=EventKind.OUTAGE, drill=True, detail={"cause": "unknown"})
    restoration = replace(SWITCH, kind=EventKind.RESTORATION, planned=True)
    assert put_down([outage, restoration]) == [outage, restoration]
