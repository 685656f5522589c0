"""What `wanwatch status` says of speed tests and of data budgets, beside the lines' states."""

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


def said(*, speed: Any = (), data: Any = ()) -> list[str]:
    health: dict[str, Any] = {
        "site": "harbour-lane", "status": "ok", "carrying": {"known": False, "uplink": None}, "uplinks": [],
        "speed": list(speed), "data": list(data),
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
    ],
)
def test_status_tells_the_last_test(changed: dict[str, Any], line: str) -> None:
    """Its figures, or why there are none."""
    assert said(speed=[TEST | changed])[-1] == line


def test_status_tells_what_a_budget_has_left() -> None:
    """Of uplinks that have one."""
    lines = said(data=[DATA, DATA | {"uplink": "fibre", "budget_bytes": None}, DATA | {"sparing": True}])
    assert lines[-2:] == [
        "copper: probing has used 1250.0 of 2000 MB this month",
        "copper: probing has used 1250.0 of 2000 MB this month; it is asked sparingly for the rest of the month",
    ]
