"""What `wanwatch status` says of speed tests, data budgets and the downtime that is left, beside the lines' states."""

from typing import Any

import pytest

from wanwatch.publish.listing import status_text

NOW_UNIX_S = 1_793_700_600.0
"""2026-11-03T10:10:00Z."""
TEST = {
    "uplink": "fibre", "at": "2026-11-03T10:00:00Z", "skipped": None, "unfinished": False,
    "down_bps": 931.2e6, "up_bps": 110e6, "down_busy": False, "up_busy": None,
}  # fmt: skip
DATA = {"uplink": "copper", "used_bytes": 1_250_000_000, "budget_bytes": 2_000_000_000, "sparing": False}


def said(*, speed: Any = (), data: Any = (), allowances: Any = ()) -> list[str]:
    health: dict[str, Any] = {
        "site": "harbour-lane", "status": "ok", "carrying": {"known": False, "uplink": None}, "uplinks": [],
        "speed": list(speed), "data": list(data), "allowances": list(allowances),
    }  # fmt: skip
    return status_text(health, NOW_UNIX_S).splitlines()


@pytest.mark.parametrize(
    ("changed", "line"),
    [
        ({}, "fibre: the last speed test, 10 min 00 s ago, gave 931.2 Mbit/s down and 110 Mbit/s up"),
        ({"up_bps": None}, "fibre: the last speed test, 10 min 00 s ago, gave 931.2 Mbit/s down"),
        ({"down_bps": None, "up_bps": None}, "fibre: the last speed test, 10 min 00 s ago, gave nothing"),
        (
            {"down_busy": True, "up_bps": None},
            "fibre: the last speed test, 10 min 00 s ago, gave 931.2 Mbit/s down, beside other traffic",
        ),
        ({"skipped": "drill"}, "fibre: the last speed test, 10 min 00 s ago, was skipped: a drill was going on"),
        ({"unfinished": True}, "fibre: a speed test began 10 min 00 s ago and has not ended"),
        (
            {"unfinished": True, "at": "2026-11-03T08:10:00Z"},
            "fibre: a speed test began 2 h 00 min ago and was broken off",
        ),
    ],
)
def test_status_tells_the_last_test(changed: dict[str, Any], line: str) -> None:
    """Its figures, or why there are none."""
    assert said(speed=[TEST | changed])[-1] == line


def test_status_tells_what_a_budget_has_left() -> None:
    """Of uplinks that have one."""
    lines = said(data=[DATA, DATA | {"uplink": "fibre", "budget_bytes": None}, DATA | {"sparing": True}])
    assert lines[-2:] == [
        "copper: watching has used 1250.0 of 2000 MB this month",
        "copper: watching has used 1250.0 of 2000 MB this month; it is asked sparingly for the rest of the month",
    ]


@pytest.mark.parametrize(
    ("left_s", "line"),
    [
        (792.0, "fibre: 13 min 12 s left of the 43 min 12 s of downtime that its contract allows this month"),
        (-60.0, "fibre: down for 1 min 00 s beyond the 43 min 12 s of downtime that its contract allows this month"),
        (
            None,
            "fibre: its contract allows 43 min 12 s of downtime this month; what is left is not reckoned yet",
        ),
    ],
)
def test_status_tells_how_much_downtime_is_left(left_s: float | None, line: str) -> None:
    """99.9 % of a month of 30 days leave 43 min 12 s: 0.1 % of 2,592,000 s."""
    allowed = {"uplink": "fibre", "per": "month", "allowed_s": 2592.0, "left_s": left_s}
    assert said(allowances=[allowed])[-1] == line
