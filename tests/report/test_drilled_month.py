"""Drills in a month's report."""

import json
from typing import Final

from tests.fakes.clock import START_UNIX_NS
from tests.fakes.month import build_month
from tests.fakes.record import FakeRecord
from wanwatch.core.model import NS_PER_S, Bounds, Event, EventKind, Json
from wanwatch.report.as_json import render_json
from wanwatch.report.html import render_html
from wanwatch.report.subject import Subject, UplinkPlan
from wanwatch.report.values import MonthReport

SITE: Final = "harbour-lane"
DAY_NS: Final = 86_400 * NS_PER_S
ANSWERS: Final[list[Json]] = [
    {"about": "moved", "question": "Did traffic move to the second line?", "answer": "no", "says": "it stayed on <i>"},
    {"about": "speed", "question": "Is it fast enough?", "answer": "not-measured", "says": "no speed test"},
]


def drill(at_unix_ns: int, outcome: str, **detail: Json) -> Event:
    start, end = (Bounds(at, at, at) for at in (at_unix_ns, at_unix_ns + 60 * NS_PER_S))
    told: dict[str, Json] = {"outcome": outcome, **detail}
    return Event(f"drill-{at_unix_ns}", SITE, EventKind.DRILL, "fibre", start, end=end, drill=True, detail=told)


def month(*drills: Event, after_days: int = 10) -> MonthReport:
    subject = Subject(
        site=SITE,
        timezone="UTC",
        uplinks=(UplinkPlan(name="fibre", drill_every_ns=30 * DAY_NS), UplinkPlan(name="copper")),
    )
    return build_month(FakeRecord(SITE, drills, [], []), subject, 2026, 11, START_UNIX_NS + after_days * DAY_NS)


def test_a_drill_is_shown_with_its_answers_and_in_no_other_list() -> None:
    """Each with its question, escaped; a drill is no trouble of the line or of the site."""
    report = month(drill(START_UNIX_NS, "done", answers=ANSWERS))
    page = render_html(report)
    assert "✕ no" in page
    assert "? not measured" in page
    assert "it stayed on &lt;i&gt;" in page
    assert "was last rehearsed 10 d ago; it is to be every 30 d." in page
    assert report.site_events == ()
    assert all(uplink.others == () for uplink in report.uplinks)
    data = json.loads(render_json(report))
    assert [one["detail"]["outcome"] for one in data["drills"]] == ["done"]
    assert data["rehearsals"] == [
        {"uplink": "fibre", "every_s": 30 * 86_400, "last_unix_s": START_UNIX_NS / NS_PER_S + 60, "overdue": False}
    ]


def test_an_overdue_drill_is_something_to_do() -> None:
    """Never done, given up, or too long ago."""
    for report in (
        month(),
        month(drill(START_UNIX_NS, "given-up", why="it was stopped by hand")),
        month(drill(START_UNIX_NS - 40 * DAY_NS, "done")),
    ):
        page = render_html(report)
        assert "Rehearse the failover of <bdi>fibre</bdi> (wanwatch drill): it is overdue." in page
        assert "(<strong>overdue</strong>)" in page


def test_a_drill_of_a_later_month_is_not_known_to_this_one() -> None:
    """A month's report says the same whenever it is made."""
    report = month(drill(START_UNIX_NS + 35 * DAY_NS, "done"), after_days=100)
    assert report.drills == ()
    assert [one.last_unix_ns for one in report.rehearsals] == [None]
