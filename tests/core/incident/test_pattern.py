"""What an incident is called by, and for how long people were cut off."""

from dataclasses import replace

import pytest

from tests.core.incident.test_joining import FAILBACK, FAILOVER, OUTAGE, at, away, back, happened
from wanwatch.core.incident import FIELDS, Cause, Incident, Sign, incident_to_json, incidents
from wanwatch.core.incident.cut_off import cut_off_s
from wanwatch.core.incident.pattern import CAUSES, cause_of
from wanwatch.core.model import Event, EventKind

DOWN = happened(OUTAGE, 100, 400)
DARK = happened(EventKind.BLACKOUT, 100, 300, None, ("fibre", None))
LIT = happened(EventKind.RESTORATION, 300, 300, None, (None, "fibre"))
NEEDLESS = happened(EventKind.NEEDLESS_FAILOVER, 100, 100, None, ("fibre", "copper"))
BAD, BAD_COPPER = (happened(EventKind.IMPAIRMENT, 150, 300, line) for line in ("fibre", "copper"))

STORIES: list[tuple[str, list[Event], Cause, set[Sign]]] = [
    ("one line down, nothing moved", [DOWN], Cause.LINE_DOWN, {Sign.LINE_DOWN}),
    (
        "down, failover, bad second line, failback",
        [DOWN, away(100), BAD_COPPER, back(445)],
        Cause.LINE_DOWN,
        {Sign.LINE_DOWN, Sign.MOVED_AWAY, Sign.LINE_IMPAIRED, Sign.SECOND_IMPAIRED, Sign.CAME_BACK},
    ),
    (
        "both down at once",
        [DOWN, happened(OUTAGE, 120, 300, "copper"), DARK, LIT],
        Cause.LINES_DOWN,
        {Sign.LINE_DOWN, Sign.LINES_DOWN_TOGETHER, Sign.NOTHING_CARRIED, Sign.CAME_BACK},
    ),
    (
        "one after the other is not both",
        [happened(OUTAGE, 100, 200), happened(OUTAGE, 200, 300, "copper")],
        Cause.LINE_DOWN,
        {Sign.LINE_DOWN},
    ),
    (
        "stuck",
        [DOWN, happened(EventKind.STUCK_FAILOVER, 130, 400)],
        Cause.STUCK_FAILOVER,
        {Sign.LINE_DOWN, Sign.STUCK},
    ),
    (
        "three times down",
        [happened(OUTAGE, second, second + 9) for second in (100, 200, 300)],
        Cause.FLAPPING_LINE,
        {Sign.LINE_DOWN, Sign.AGAIN_AND_AGAIN},
    ),
    ("the judge says so", [happened(EventKind.FLAPPING, 100, 400)], Cause.FLAPPING_LINE, {Sign.AGAIN_AND_AGAIN}),
    ("needless", [NEEDLESS], Cause.NEEDLESS_FAILOVER, {Sign.NEEDLESS, Sign.MOVED_AWAY}),
    ("a bad line", [BAD], Cause.LINE_IMPAIRED, {Sign.LINE_IMPAIRED}),
    ("names", [happened(EventKind.NAMES_FAILURE, 0, 9)], Cause.NAMES_ONLY, {Sign.NAMES_FAILED}),
    ("nothing carries", [DARK], Cause.BLACKOUT, {Sign.NOTHING_CARRIED}),
    ("came back by hand", [back(0)], Cause.SWITCH_ONLY, {Sign.CAME_BACK}),
]


@pytest.mark.parametrize(("events", "cause", "signs"), [row[1:] for row in STORIES], ids=[row[0] for row in STORIES])
def test_a_usual_story_is_called_by_its_cause(events: list[Event], cause: Cause, signs: set[Sign]) -> None:
    """The first row of the table whose sign is there."""
    (one,) = incidents(events)
    assert one.cause is cause
    assert set(one.signs) == signs


def test_every_cause_has_one_row_and_the_last_takes_all() -> None:
    """No gap: whatever the signs, there is a cause."""
    assert [cause for cause, _ in CAUSES] == list(Cause)
    assert cause_of(frozenset()) is Cause.SWITCH_ONLY


def silent(event: Event, seconds: float | None) -> Event:
    return replace(event, interruption_s=seconds)


@pytest.mark.parametrize(
    ("events", "seconds"),
    [
        ([DOWN, BAD], None),
        ([silent(away(100, 8), 8.0), silent(DOWN, 8.0)], 8.0),
        ([silent(away(100, 8), 8.0), silent(DOWN, 8.0), silent(back(445, 0.4), 0.4)], 8.4),
        ([silent(DARK, 200.0), silent(replace(LIT, start=at(100), end=at(300)), 200.0)], 200.0),
        ([silent(DOWN, 300.0)], 300.0),
        ([silent(DOWN, 300.0), silent(happened(OUTAGE, 200, 450, "copper"), 200.0)], 300.0),
        ([silent(DOWN, 20.0), silent(happened(OUTAGE, 500, 600), 30.0)], 50.0),
        ([silent(away(100, 8), 8.0), silent(happened(FAILOVER, 104, 112, None), 8.0)], 12.0),
        ([silent(NEEDLESS, 0.0)], 0.0),
    ],
    ids=["untold", "once", "and-back", "dark-and-lit", "no-second-line", "two-at-once", "in-turn", "overlap", "zero"],
)
def test_no_silence_is_counted_twice(events: list[Event], seconds: float | None) -> None:
    """A switch and its outage tell the same one; where it cannot be known, the larger stands for both."""
    found = cut_off_s(events)
    assert found == (None if seconds is None else pytest.approx(seconds))


def test_the_json_object_has_its_fields_and_names_each_event_of_the_time_line() -> None:
    """Stable names, for scripts."""
    (one,) = incidents([DOWN, away(100.5), happened(EventKind.UNOBSERVED, 200, 210, None), back(445)])
    told = incident_to_json(one)
    assert tuple(told) == FIELDS
    assert told["id"] == "incident-outage-fibre-100"
    assert (told["start"], told["end"]) == ("1970-01-01T00:01:40.000000Z", "1970-01-01T00:07:25.400000Z")
    assert told["signs"] == ["came-back", "line-down", "moved-away"]
    listed = {event["id"] for part in ("events", "beside") for event in told[part]}  # type: ignore[union-attr,index,call-overload]
    assert {entry["event"] for entry in told["timeline"]} == listed  # type: ignore[union-attr,index,call-overload]


def test_an_incident_that_goes_on_has_no_end() -> None:
    """Null, as for events."""
    told = incident_to_json(Incident((happened(OUTAGE, 100, None),)))
    assert (told["end"], told["end_earliest"], told["cut_off_s"]) == (None, None, None)


def test_a_failback_alone_is_at_home() -> None:
    """Traffic that came back from an earlier record is not away."""
    first, second = back(0), happened(FAILBACK, 7200, 7200, None, ("copper", "fibre"))
    assert len(incidents([first, second])) == 2
