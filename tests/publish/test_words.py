"""Events in words: every kind has a sentence, and it says who, what and how long."""

from dataclasses import replace

import pytest

from wanwatch.core.lengths import duration
from wanwatch.core.model import NS_PER_S, Bounds, Domain, Event, EventKind, Json
from wanwatch.publish.words import sentence


def at(second: float) -> Bounds:
    instant = int(second * NS_PER_S)
    return Bounds(instant, instant, instant)


@pytest.mark.parametrize("kind", EventKind)
def test_every_kind_has_a_sentence(kind: EventKind) -> None:
    """A new kind of event cannot be forgotten here."""
    assert sentence(Event("x", "harbour-lane", kind, "fibre", at(0)))


def test_an_outage_names_the_line_the_place_and_the_length() -> None:
    """What a person asks first."""
    event = Event("x", "s", EventKind.OUTAGE, "fibre", at(0), end=at(185), domain=Domain.ACCESS_LINE)
    assert sentence(event) == "fibre: down on the access line, lasted 3 min 05 s"


def test_names_that_fail_are_not_said_to_fail_with_names_only() -> None:
    """What is said once is enough."""
    event = Event("x", "s", EventKind.NAMES_FAILURE, "fibre", at(0), end=at(8.5), domain=Domain.NAMES)
    assert sentence(event) == "fibre: names do not resolve, lasted 8.5 s"


def test_a_switch_says_how_long_people_were_cut_off() -> None:
    """An interruption that was not observed is said to be so, not to be zero."""
    event = Event(
        "x", "s", EventKind.FAILOVER, None, at(0), from_uplink="fibre", to_uplink="copper", interruption_s=4.25
    )
    assert sentence(event) == "failover: traffic moved from fibre to copper, people were cut off for 4.2 s"
    unseen = Event("x", "s", EventKind.FAILBACK, None, at(0), from_uplink="copper", to_uplink="fibre")
    assert sentence(unseen).endswith("the interruption was not observed")


KNOWN = {"s": 1.24, "low_s": 1.0, "high_s": 2.0}
UNKNOWN = {"s": None, "low_s": None, "high_s": None}


@pytest.mark.parametrize(
    ("found", "said"),
    [
        ({"names": KNOWN}, "; names were back after 1.2 s"),
        ({"names": KNOWN, "connect": {**KNOWN, "s": 0.0}},
         "; names were back after 1.2 s, new connections worked all along"),
        ({"connect": {"s": None, "low_s": 118.0, "high_s": None}},
         "; new connections were away for at least 1 min 58 s"),
        ({"names": UNKNOWN, "held": {**UNKNOWN, "survived": None}}, ""),
        ({"held": {**KNOWN, "survived": True}}, "; the open connection survived a silence of 1.2 s"),
        ({"held": {**KNOWN, "s": 0.0, "survived": True}}, "; the open connection survived"),
        ({"held": {**KNOWN, "survived": False}}, "; the open connection broke and was replaced after 1.2 s"),
        ({"held": {**KNOWN, "s": 0.0, "survived": False}}, "; the open connection broke"),
        ({"held": {"s": None, "low_s": 118.0, "high_s": None, "survived": None}},
         "; the open connection was silent for at least 1 min 58 s"),
        ({"echo": KNOWN}, ""),
        ("no such thing", ""),
    ],
)  # fmt: skip
def test_a_switch_says_by_kind_what_it_did_to_people(found: Json, said: str) -> None:
    """What was not observed has no words of its own, and never reads as none."""
    event = Event(
        "x", "s", EventKind.FAILOVER, None, at(0), from_uplink="fibre", to_uplink="copper", interruption_s=4.25,
        detail={"interruption": found},
    )  # fmt: skip
    assert sentence(event) == f"failover: traffic moved from fibre to copper, people were cut off for 4.2 s{said}"


@pytest.mark.parametrize(
    ("seconds", "said"),
    [(0.04, "0.0 s"), (59.94, "59.9 s"), (60, "1 min 00 s"), (3599.6, "1 h 00 min"), (7620, "2 h 07 min")],
)
def test_lengths_of_time_read_naturally(seconds: float, said: str) -> None:
    """Tenths below a minute, seconds below an hour, minutes beyond."""
    assert duration(seconds) == said


def test_planned_work_says_for_how_long_why_and_whether_it_was_announced_late() -> None:
    """It may be still to come, so it has not lasted yet."""
    work = Event("x", "s", EventKind.PLANNED_WORK, "fibre", at(0), end=at(7200), detail={"why": "splicing"})
    assert sentence(work) == "fibre: planned work for 2 h 00 min: splicing"
    late = replace(work, uplink=None, detail={"why": "splicing", "announced": "afterwards"})
    assert sentence(late) == "the site: planned work (announced afterwards) for 2 h 00 min: splicing"


def test_what_reaches_into_planned_work_says_so() -> None:
    """Marked, and never dropped."""
    event = Event("x", "s", EventKind.OUTAGE, "fibre", at(0), end=at(4), planned=True)
    assert sentence(event) == "fibre: down, lasted 4.0 s, in planned work"
