"""Drills in words and in metrics."""

from dataclasses import replace
from typing import Final

from prometheus_client import CollectorRegistry

from wanwatch.core.drill import Rehearsal
from wanwatch.core.model import NS_PER_S, Bounds, Event, EventKind, Json
from wanwatch.publish.drills import DrillMetrics
from wanwatch.publish.listing import status_text
from wanwatch.publish.words import sentence

NOW_UNIX_NS: Final = 1_790_000_000 * NS_PER_S
DAY_NS: Final = 86_400 * NS_PER_S
AT: Final = Bounds(NOW_UNIX_NS, NOW_UNIX_NS, NOW_UNIX_NS)
END: Final = Bounds(NOW_UNIX_NS + 90 * NS_PER_S, NOW_UNIX_NS + 90 * NS_PER_S, NOW_UNIX_NS + 90 * NS_PER_S)
ANSWERS: Final[list[Json]] = [
    {"about": "moved", "answer": "yes", "says": "to copper, 2.5 s after the line went down"},
    {"about": "cut-off", "answer": "measured", "says": "2.5 s when it moved"},
    {"about": "names", "answer": "no", "says": "1 of 10 questions were answered"},
    {"about": "held", "answer": "not-measured", "says": "no connection was held open across it"},
]
DRILL: Final = Event(
    "x", "s", EventKind.DRILL, "fibre", AT, end=END, drill=True,
    detail={"outcome": "done", "answers": ANSWERS},
)  # fmt: skip


def test_a_drill_says_what_it_showed() -> None:
    """A word for each question; the record has the rest."""
    assert sentence(DRILL) == (
        "fibre: failover drill for 1 min 30 s: moved yes, names no, held not measured, cut off 2.5 s when it moved"
    )


def test_a_drill_that_goes_on_or_was_given_up_says_so() -> None:
    """And why."""
    assert sentence(replace(DRILL, end=None, detail={})) == "fibre: failover drill, still going on"
    stopped = replace(DRILL, detail={"outcome": "given-up", "why": "it was stopped by hand"})
    assert sentence(stopped) == "fibre: failover drill given up: it was stopped by hand"


def test_what_belongs_to_a_drill_says_so() -> None:
    """Marked, and never dropped; the drill itself need not say it twice."""
    outage = Event("x", "s", EventKind.OUTAGE, "fibre", AT, end=END, drill=True)
    assert sentence(outage) == "fibre: down, lasted 1 min 30 s, in a drill"


def test_the_metrics_show_age_and_what_is_overdue() -> None:
    """A drill never done has no age; an uplink that is gone is shown no more."""
    registry = CollectorRegistry()
    metrics = DrillMetrics("s", registry)
    done = Rehearsal("fibre", 90 * DAY_NS, NOW_UNIX_NS - 91 * DAY_NS)
    metrics.show([done, Rehearsal("copper", 90 * DAY_NS, None)], NOW_UNIX_NS)
    labels = {"site": "s", "uplink": "fibre"}
    assert registry.get_sample_value("wanwatch_drill_age_seconds", labels) == 91 * 86_400
    assert registry.get_sample_value("wanwatch_drill_overdue", labels) == 1
    assert registry.get_sample_value("wanwatch_drill_age_seconds", {**labels, "uplink": "copper"}) is None
    assert registry.get_sample_value("wanwatch_drill_overdue", {**labels, "uplink": "copper"}) == 1
    metrics.show([replace(done, every_ns=None)], NOW_UNIX_NS)
    assert registry.get_sample_value("wanwatch_drill_overdue", labels) == 0
    assert registry.get_sample_value("wanwatch_drill_overdue", {**labels, "uplink": "copper"}) is None


def test_the_status_tells_drills_below_the_lines() -> None:
    """What /health says of them, in words."""
    health = {
        "site": "s", "status": "ok", "carrying": {"uplink": "fibre", "known": True}, "uplinks": [],
        "drills": [Rehearsal("fibre", 90 * DAY_NS, NOW_UNIX_NS - 3 * DAY_NS).to_json(NOW_UNIX_NS)],
    }  # fmt: skip
    told = status_text(health, NOW_UNIX_NS / NS_PER_S).splitlines()  # type: ignore[arg-type]  # a test's own words
    assert told[-2:] == ["", "fibre: failover last rehearsed 3 days ago"]
