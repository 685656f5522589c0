"""How long a switch cut people off, by kind: stories with a known truth, and what must not be claimed."""

from collections.abc import Mapping, Sequence
from typing import Any

import pytest

from tests.core.judge.test_stories import copper, fibre
from tests.fakes.office import Office, Way, full_questions, line_questions
from wanwatch.core.judge import SiteJudge
from wanwatch.core.model import UNPINNED, Event, EventKind, JudgeSettings, Kind, Question, Role, Tell

CUT_S, MOVED_S = 100.3, 103.4
MOVES = ((0.0, "fibre"), (MOVED_S, "copper"))


def traffic(kind: Kind, *targets: str, every_s: float = 1.0, pulse_s: float = 1.0) -> list[Question]:
    """Questions of one kind that ordinary traffic asks."""
    return line_questions(UNPINNED, targets, every_s=every_s, pulse_s=pulse_s, role=Role.TRAFFIC, kind=kind)


def all_kinds() -> list[Question]:
    """What is asked where everything is configured."""
    return [
        *full_questions(),
        *traffic(Kind.DNS, "resolver-1", "resolver-2", every_s=2.0, pulse_s=2.0),
        *traffic(Kind.TCP, "shop"),
        *traffic(Kind.HELD, "reflector", pulse_s=0.2),
    ]


def played(questions: Sequence[Question], until_s: float = 300.0, **story: Any) -> Office:
    """A fibre that is cut, and a gateway that moves traffic to copper, unless the story says otherwise."""
    judge = SiteJudge("harbour-lane", ("fibre", "copper"), questions, JudgeSettings())
    usual: dict[str, Any] = {"ways": {"fibre": fibre(cuts=[(CUT_S, 250.0)]), "copper": copper()}, "moves": MOVES}
    return Office(judge, questions=questions, **usual | story).run(until_s)


def switch(told: Office, kind: EventKind = EventKind.FAILOVER) -> Event:
    """The one switch of a kind."""
    (event,) = told.events(kind)
    return event


def figures(event: Event) -> Mapping[str, Any]:
    """What it says by kind."""
    said = event.detail["interruption"]
    assert isinstance(said, dict)
    return said


def holds(said: Mapping[str, Any], truth_s: float, close_s: float) -> bool:
    """Whether the truth lies within the bounds, and the figure is close to it."""
    return bool(said["low_s"] <= truth_s <= said["high_s"] and abs(said["s"] - truth_s) <= close_s)


def test_each_kind_is_told_with_bounds_that_hold_the_truth() -> None:
    """A figure is off by no more than an interval of its kind at each end."""
    event = switch(played(all_kinds(), breaks=[MOVED_S]))
    said = figures(event)
    assert list(said) == ["echo", "names", "connect", "held"]
    for kind, close_s in (("echo", 0.21), ("names", 1.0), ("connect", 1.0), ("held", 1.0)):
        assert holds(said[kind], MOVED_S - CUT_S, close_s), (kind, said[kind])
    assert event.interruption_s == pytest.approx(said["echo"]["s"])


def test_a_connection_that_goes_on_has_survived_and_another_one_has_not() -> None:
    """The number of the connection before and after decides."""
    assert figures(switch(played(all_kinds())))["held"]["survived"] is True
    assert figures(switch(played(all_kinds(), breaks=[MOVED_S])))["held"]["survived"] is False


def test_a_connection_may_break_without_any_silence() -> None:
    """A gateway that leaves a good line and forgets its flows: nothing was silent, yet the connection is another."""
    told = played(all_kinds(), ways={"fibre": fibre(), "copper": copper()}, breaks=[MOVED_S])
    said = figures(switch(told, EventKind.NEEDLESS_FAILOVER))
    assert (said["held"]["s"], said["held"]["survived"]) == (0.0, False)
    assert (said["names"]["s"], said["connect"]["s"]) == (0.0, 0.0)
    # Something shorter than the time between two answers could have passed unseen.
    assert 1.0 <= said["connect"]["high_s"] <= 1.2
    assert 0.2 <= said["echo"]["high_s"] <= 0.4


def test_a_kind_that_stays_away_longer_is_waited_for_and_told_in_the_same_event() -> None:
    """Told at once with what is known, and again, with the same id, when all kinds are back."""
    told = played(all_kinds(), dead={"unpinned/reflector": [(CUT_S, 130.0)]})
    tellings = [e.event for _, e in told.effects if isinstance(e, Tell) and e.event.kind is EventKind.FAILOVER]
    assert len({event.id for event in tellings}) == 1
    assert "interruption" not in tellings[0].detail
    said = figures(tellings[-1])
    assert holds(said["held"], 130.0 - CUT_S, 1.0)
    assert holds(said["names"], MOVED_S - CUT_S, 1.0)


def test_a_kind_that_never_comes_back_has_a_least_figure_only() -> None:
    """After two minutes of patience: at least so long, and whether the connection survived is not known."""
    told = played(all_kinds(), dead={"unpinned/reflector": [(CUT_S, 1000.0)]})
    (at_s, event), *_ = [
        (at_s, e.event) for at_s, e in told.effects if isinstance(e, Tell) and "interruption" in e.event.detail
    ]
    held = figures(event)["held"]
    assert (held["s"], held["high_s"], held["survived"]) == (None, None, None)
    assert 110 <= held["low_s"] <= 121
    assert MOVED_S + 120 <= at_s <= MOVED_S + 123


def test_a_kind_that_was_not_watched_is_unknown_and_not_zero() -> None:
    """What never answered before the switch tells nothing; what is not asked at all is not in the event."""
    told = played(all_kinds(), dead={"unpinned/shop": [(0.0, 1000.0)]})
    assert figures(switch(told))["connect"] == {"s": None, "low_s": None, "high_s": None}
    assert list(figures(switch(played(full_questions())))) == ["echo"]


def test_a_silence_from_long_before_is_not_the_switchs() -> None:
    """A reflector that has been away for a minute says nothing of this switch, unless the very connection lives on."""
    dead = {"unpinned/reflector": [(40.0, 110.0)]}
    unknown = {"s": None, "low_s": None, "high_s": None}
    assert figures(switch(played(all_kinds(), dead=dead)))["held"] == {**unknown, "survived": True}
    assert figures(switch(played(all_kinds(), dead=dead, breaks=[50.0])))["held"] == {**unknown, "survived": None}


def test_names_are_back_with_the_first_resolver_that_answers() -> None:
    """One provider's resolver refuses strangers: it is silent by the other line, and machines ask the next one."""
    dead = {"unpinned/resolver-1": [(MOVED_S, 1000.0)], "unpinned/resolver-2": [(0.0, MOVED_S)]}
    said = figures(switch(played(all_kinds(), dead=dead)))["names"]
    assert holds(said, MOVED_S - CUT_S, 2.0)


def test_one_resolvers_own_trouble_is_no_interruption() -> None:
    """The other one answers all along."""
    ways = {"fibre": fibre(), "copper": copper()}
    told = played(all_kinds(), ways=ways, dead={"unpinned/resolver-1": [(101.0, 108.0)]})
    assert figures(switch(told, EventKind.NEEDLESS_FAILOVER))["names"]["s"] == 0.0


def test_an_answer_to_what_tcp_sent_again_is_not_one_to_what_was_sent_first() -> None:
    """RFC 6298: TCP sends again; a handshake of 1.03 s on a line of 30 ms was silent for a second."""
    ways = {"fibre": fibre(cuts=[(CUT_S, 250.0)]), "copper": copper()}
    late = {"unpinned/shop": [(MOVED_S, MOVED_S + 0.9, 1.0)]}
    plain = figures(switch(played(all_kinds(), ways=ways)))["connect"]
    again = figures(switch(played(all_kinds(), ways=ways, late=late)))["connect"]
    assert again["s"] == pytest.approx(plain["s"] + 1.0, abs=0.01)
    assert again["low_s"] <= again["s"] <= again["high_s"]


def test_a_blackout_is_told_by_kind_once_it_is_over() -> None:
    """While the path is silent nothing can come back, so patience begins with its end."""
    ways = {"fibre": Way(cuts=[(CUT_S, 400.0)]), "copper": copper(cuts=[(CUT_S, 500.0)])}
    told = played(all_kinds(), 700.0, ways=ways, moves=((0.0, "fibre"),))
    for kind in (EventKind.BLACKOUT, EventKind.RESTORATION):
        said = figures(switch(told, kind))
        assert holds(said["names"], 400.0 - CUT_S, 1.1)
        assert holds(said["echo"], 400.0 - CUT_S, 0.25)


def test_a_program_that_ends_tells_what_it_knows() -> None:
    """Stopped while a kind is away: the least figure of that one, and the others in full."""
    told = played(all_kinds(), 125.0, dead={"unpinned/reflector": [(CUT_S, 1000.0)]})
    event = [effect.event for effect in told.judge.stop(125_000_000_000) if isinstance(effect, Tell)][-1]
    said = figures(event)
    assert said["held"]["s"] is None
    assert said["held"]["low_s"] > 15
    assert holds(said["connect"], MOVED_S - CUT_S, 1.0)
