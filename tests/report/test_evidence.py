"""The facts stored with an event, as lines that a provider's help desk can read."""

from zoneinfo import ZoneInfo

import pytest

from tests.fakes.month import LADDER, event
from wanwatch.core.model import EventKind, Json
from wanwatch.report.evidence import evidence
from wanwatch.report.pen import Pen

PEN = Pen(ZoneInfo("Europe/London"))


def lines(**detail: Json) -> list[str]:
    return evidence(event(EventKind.OUTAGE, "13 13:03:20", None, detail=detail), PEN)


def test_the_ladder_is_told_rung_by_rung() -> None:
    """Nearest first; what fell silent says when it last answered, by the site's clocks."""
    assert lines(ladder=LADDER) == [
        "interface answered",
        "gateway answered",
        "first hop silent after 14:03:19.3",
        "resolver silent after 14:03:12.0",
        "far targets silent after 14:03:19.2",
    ]


def test_a_rung_that_said_nothing_is_not_called_silent() -> None:
    """No evidence is not evidence of silence."""
    rung: Json = {"rung": "first-hop", "said": "unknown", "last_answered": None, "last_silent": None}
    assert lines(ladder=[rung]) == ["first hop not known"]


@pytest.mark.parametrize(
    ("key", "value", "said"),
    [
        ("loss_ratio", 0.08, "loss: 8.0%"),
        ("p95_s", 0.0112, "p95: 11.2 ms"),
        ("step_s", 7200, "step: 2 h"),
        ("step_s", -3.0, "step: -3.0 s"),
        ("because", ["loss", "delay"], "because: loss, delay"),
        ("because", [], "because: none"),
        ("watched", False, "watched: no"),
        ("usual_s", None, "usual: not known"),
        ("switches", 7, "switches: 7"),
        ("mean_rate", 1234.5678, "mean rate: 1234.57"),
        ("cause", "down", "cause: down"),
        ("announced_at", "2026-10-20T08:00:00.000000Z", "announced at: Tue 20 Oct 09:00:00 +01:00"),
    ],
)
def test_a_fact_is_told_in_the_unit_that_its_key_names(key: str, value: Json, said: str) -> None:
    """A ratio in percent, seconds as a length of time, everything else as it stands."""
    assert lines(**{key: value}) == [said]


def test_a_length_of_time_is_told_with_its_bounds() -> None:
    """One line for both; bounds by themselves are nobody's."""
    assert lines(detection_s=6.4, detection_bounds_s=[6.1, 7.0]) == ["detection: 6.4 s (6.1 s to 7.0 s)"]
    assert lines(away_s=None, away_bounds_s=[]) == ["away: not known"]


@pytest.mark.parametrize(
    ("kind", "found", "said"),
    [
        ("names", {"s": 8.4, "low_s": 8.0, "high_s": 9.1}, "names cut off: 8.4 s (8.0 s to 9.1 s)"),
        ("connect", {"s": 0.0, "low_s": 0.0, "high_s": 1.0}, "new connections cut off: none (none to 1.0 s)"),
        ("echo", {"s": None, "low_s": 120.0, "high_s": None}, "path cut off: at least 2 min"),
        (
            "held",
            {"s": None, "low_s": None, "high_s": None, "survived": False},
            "open connection cut off: not observed, it broke",
        ),
        (
            "held",
            {"s": 2.0, "low_s": 1.5, "high_s": 2.5, "survived": True},
            "open connection cut off: 2.0 s (1.5 s to 2.5 s), it survived",
        ),
    ],
)
def test_each_kind_of_traffic_says_how_long_it_was_cut_off(kind: str, found: Json, said: str) -> None:
    """The figure, the least and the most; what was not seen is not none."""
    assert lines(interruption={kind: found}) == [said]


def test_facts_within_facts_are_told_one_a_line() -> None:
    """Whatever a later kind of event may store."""
    assert lines(seen={"fibre": "192.0.2.1", "copper": None}) == [
        "seen, fibre: 192.0.2.1",
        "seen, copper: not known",
    ]
    assert lines(rows=[{"a_s": 2, "b": True}]) == ["a 2.0 s, b yes"]


def test_a_clock_that_nothing_keeps_is_told_and_one_that_is_kept_is_not() -> None:
    """Bounds hold between observations; only the clock's own error can lie outside them."""
    assert lines(clock={"synchronised": False, "max_error_s": None}) == [
        "nothing kept this computer's clock right: the instants may be off, all alike"
    ]
    assert lines(clock={"synchronised": True, "max_error_s": 0.012}) == []


def test_an_instant_that_cannot_be_read_is_shown_as_it_stands() -> None:
    """A record of another version is no reason to make no report."""
    rung: Json = {"rung": "gateway", "said": "silent", "last_answered": "yesterday"}
    assert lines(ladder=[rung]) == ["gateway silent after yesterday"]


@pytest.mark.parametrize(
    ("announced", "said"),
    [
        ("beforehand", "announced beforehand"),
        ("afterwards", "announced afterwards, so no contract counts it out"),
    ],
)
def test_planned_work_says_whether_it_was_announced_in_time(announced: str, said: str) -> None:
    """What was announced beforehand is what a contract counts out."""
    assert lines(why="splicing", announced=announced) == ["why: splicing", said]
