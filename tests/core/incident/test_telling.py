"""Incidents in words: each cause has its sentence, and each entry of a time line its phrase."""

from dataclasses import replace

import pytest

from tests.core.incident.test_joining import OUTAGE, at, away, back, happened
from tests.core.incident.test_pattern import BAD_COPPER, DARK, DOWN, LIT, NEEDLESS, STORIES, silent
from wanwatch.core.incident import Cause, Edge, Entry, Incident, Words, folded, incidents, phrase, sentence, subject
from wanwatch.core.model import Domain, Event, EventKind

WORDS = Words(name=lambda name: f"<{name}>", length=lambda s: f"{s:g} s", place={d: f"at {d}" for d in Domain})


def said(*events: Event) -> str:
    (one,) = incidents(events)
    return sentence(one, WORDS)


@pytest.mark.parametrize(
    ("events", "words"),
    [
        ([replace(DOWN, domain=Domain.ACCESS_LINE)], "<fibre> was down at access-line for 300 s"),
        ([happened(OUTAGE, 100, None)], "<fibre> is down; still going on"),
        (
            [silent(away(100), 8.0), DOWN, BAD_COPPER, back(445)],
            (
                "<fibre> was down for 300 s; traffic moved to <copper> and came back; "
                "<copper> worked badly meanwhile; people were cut off for 8 s"
            ),
        ),
        ([away(100), DOWN], "<fibre> was down for 300 s; traffic moved to <copper> and has not come back"),
        (
            [DOWN, happened(OUTAGE, 120, 300, "copper"), DARK, LIT],
            "<fibre> and <copper> were down at the same time: <fibre> was down for 300 s, <copper> was down for 180 s",
        ),
        (
            [DOWN, happened(EventKind.STUCK_FAILOVER, 130, 400)],
            "traffic stayed on <fibre>, which was dead, although another line was up; <fibre> was down for 300 s",
        ),
        (
            [happened(OUTAGE, second, second + 9) for second in (100, 200, 300)],
            "flapping: <fibre> was down 3 times for 27 s in all",
        ),
        ([happened(EventKind.FLAPPING, 100, 400, None)], "flapping: traffic went to and fro"),
        ([NEEDLESS], "traffic left <fibre>, which was up; traffic moved to <copper> and has not come back"),
        ([BAD_COPPER], "<copper> worked badly for 150 s"),
        ([happened(EventKind.NAMES_FAILURE, 0, 9)], "names did not resolve through <fibre>"),
        ([happened(EventKind.NAMES_FAILURE, 0, 9, "unpinned")], "names did not resolve"),
        ([DARK], "no line carried traffic"),
        ([back(0)], "traffic moved from <copper> to <fibre>"),
        ([replace(DOWN, planned=True)], "<fibre> was down for 300 s; in planned work"),
        ([replace(DOWN, planned=True, drill=True)], "<fibre> was down for 300 s; part of a drill"),
    ],
)
def test_a_sentence_says_what_broke_what_traffic_did_and_what_it_cost(events: list[Event], words: str) -> None:
    """In plain words, with nothing that was not seen."""
    assert said(*events) == words


def test_every_cause_is_told_in_a_story_of_its_own() -> None:
    """A new cause cannot be forgotten in the sentences."""
    assert {cause for _, _, cause, _ in STORIES} == set(Cause)
    assert all(said(*events) for _, events, _, _ in STORIES)


@pytest.mark.parametrize("kind", EventKind)
@pytest.mark.parametrize("edge", Edge)
def test_every_kind_has_a_phrase(kind: EventKind, edge: Edge) -> None:
    """Whatever stands in a time line can be said."""
    assert phrase(Entry(at(0), edge, happened(kind, 0, 9)), WORDS)


def test_a_switch_is_told_of_traffic_with_its_silence() -> None:
    """The silence of a blackout is not told again with its restoration."""
    moves = [silent(away(0), 8.2), silent(DARK, 200.0), silent(LIT, 200.0), NEEDLESS]
    assert {subject(event) for event in moves} == {"unpinned"}
    assert [phrase(Entry(at(0), Edge.HAPPENED, event), WORDS) for event in moves] == [
        "moved from <fibre> to <copper>, silent for 8.2 s",
        "carried by no line any more, last by <fibre>, silent for 200 s",
        "carried again, by <fibre>",
        "moved from <fibre> to <copper>, although that line was up",
    ]


def test_facts_are_written_like_names_so_that_a_page_can_escape_them() -> None:
    """Whoever announces work may write anything; what is not known is a question mark."""
    work = replace(happened(EventKind.PLANNED_WORK, 0, 9), detail={"why": "a & b", "announced": "beforehand"})
    assert phrase(Entry(at(0), Edge.HAPPENED, work), WORDS) == "planned work, announced <beforehand>: <a & b>"
    step = happened(EventKind.CLOCK_STEP, 0, 0)
    assert phrase(Entry(at(0), Edge.HAPPENED, step), WORDS) == "the wall clock was stepped by ? s"


def test_a_long_time_line_is_folded_in_its_middle() -> None:
    """Begin and end tell most of it."""
    (one,) = incidents([happened(OUTAGE, second, second + 9) for second in range(0, 1000, 100)])
    first, left_out, last = folded(one.entries, 6)
    assert (*first, *last) == (*one.entries[:3], *one.entries[-3:])
    assert left_out == 14
    assert folded(one.entries, 20) == (one.entries, 0, ())


def test_the_sentence_of_two_lines_in_turn_names_both() -> None:
    """First the one, then the other."""
    one = Incident((happened(OUTAGE, 0, 60), happened(OUTAGE, 90, 100, "copper")))
    assert sentence(one, WORDS) == "<fibre> was down for 60 s, <copper> was down for 10 s"
