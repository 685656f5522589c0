"""Impairment by speed: two bad tests begin it, two good ones end it."""

import json
from collections.abc import Callable, Sequence

import pytest

from tests.fakes.office import Office, Way, line_questions, ns, since_start
from wanwatch.core.judge import Memory, SiteJudge
from wanwatch.core.judge.speed import TRANSITIONS, TROUBLED, Phase, Signal
from wanwatch.core.model import Event, EventKind, JudgeSettings, Promised, SpeedSeen, State

CONTRACT = JudgeSettings(promised={"fibre": Promised(900e6, 110e6)})
Told = tuple[float, Callable[[int, int], SpeedSeen]]


def test_every_phase_of_a_direction_has_a_row_for_every_signal() -> None:
    """The table has no gap, and each phase can be reached and left."""
    assert set(TRANSITIONS) == set(Phase)
    for phase, row in TRANSITIONS.items():
        assert set(row) == set(Signal)
        assert any(phase in other.values() for at, other in TRANSITIONS.items() if at is not phase)
        assert row[Signal.AGED] not in TROUBLED


def test_it_takes_two_tests_in_a_row_to_begin_and_two_to_end() -> None:
    """No single test leads from fast to slow or back."""
    for row, troubled in ((TRANSITIONS[phase], phase in TROUBLED) for phase in Phase):
        turns = [signal for signal in (Signal.GOOD, Signal.BAD) if (row[signal] in TROUBLED) is not troubled]
        assert len(turns) <= 1
    assert TRANSITIONS[Phase.FAST][Signal.BAD] not in TROUBLED
    assert TRANSITIONS[Phase.SLOW][Signal.GOOD] in TROUBLED


def measured(at_s: float, mbps: float, direction: str = "down", *, counts: bool = True, uplink: str = "fibre") -> Told:
    """A test of ten seconds that has ended."""
    return at_s, lambda at_ns, at_unix_ns: SpeedSeen(
        at_ns, at_unix_ns, uplink, "up" if direction == "up" else "down", mbps * 1e6, counts, ns(10.0)
    )


def office(
    tests: Sequence[Told],
    until_s: float,
    settings: JudgeSettings = CONTRACT,
    *,
    way: Way | None = None,
    memory: Memory | None = None,
    start_s: float = 0.0,
    every_s: float = 20.0,
) -> Office:
    """A prompt line that is tested now and then."""
    asked = line_questions("fibre", ("near", "far"), every_s=every_s)
    judge = SiteJudge("harbour-lane", ["fibre"], asked, settings, memory=memory or Memory())
    return Office(judge, {"fibre": way or Way()}, asked, seen=tests, tick_s=20.0, start_s=start_s).run(until_s)


def one(told: Office) -> Event:
    """Its only event."""
    (event,) = told.events()
    assert (event.kind, event.detail["because"]) == (EventKind.IMPAIRMENT, ["speed"])
    return event


def seconds(event: Event) -> list[float]:
    """Earliest, estimate and latest of its start and its end."""
    return [
        round(since_start(unix_ns), 6)
        for bounds in (event.start, event.end)
        if bounds is not None
        for unix_ns in (bounds.earliest_unix_ns, bounds.estimate_unix_ns, bounds.latest_unix_ns)
    ]


def test_two_tests_below_half_of_the_contract_begin_and_two_above_end() -> None:
    """Begin and end lie between the tests: after the last good one began, before the first bad one was over."""
    tests = [measured(at, mbps) for at, mbps in ((100, 800), (200, 440), (300, 300), (400, 460), (500, 820))]
    told = office(tests, 600.0)
    event = one(told)
    assert seconds(event) == [90.0, 190.0, 200.0, 290.0, 390.0, 400.0]
    assert event.detail == {"because": ["speed"], "down_bps": 300_000_000, "down_floor_bps": 450_000_000}
    assert [change.state for change in told.states("fibre")] == [State.UP, State.IMPAIRED, State.UP]


@pytest.mark.parametrize(
    "tests",
    [
        [measured(100, 440), measured(200, 460), measured(300, 440)],  # never two in a row
        [measured(100, 440, counts=False), measured(200, 440, counts=False)],  # taken while the line was busy
        [measured(100, 440), measured(200, 60, "up")],  # two directions, each of them once or well
        [measured(100, 1, uplink="radio"), measured(200, 1, uplink="radio")],  # no line of ours
        [measured(100, 440), measured(100 + 90_000, 440)],  # more than a day apart
    ],
)
def test_no_impairment_without_two_bad_tests_of_one_direction_within_a_day(tests: list[Told]) -> None:
    """One bad test proves nothing, nor do tests that do not count."""
    assert office(tests, tests[-1][0] + 100.0).events() == []


def test_without_a_contract_the_lines_own_usual_speed_counts_once_there_are_five_tests() -> None:
    """NIST/SEMATECH e-Handbook 7.2.6.2: the median of 90, 100, 110, 120 and 400 is 110, half of it 55."""
    usual = [90, 400, 100, 120, 110]
    bad = [measured(700, 54), measured(800, 54)]
    told = office([*(measured(100 * at, mbps) for at, mbps in enumerate(usual, 1)), *bad], 900.0, JudgeSettings())
    assert one(told).detail["down_floor_bps"] == 55_000_000
    few = [*(measured(100 * at, mbps) for at, mbps in enumerate(usual[1:], 1)), *bad]
    assert office(few, 900.0, JudgeSettings()).events() == []


def test_bad_tests_do_not_become_the_usual_speed() -> None:
    """A line that lost more than half of its speed stays impaired, however long."""
    tests = [measured(100.0 * at, 100) for at in range(1, 6)] + [measured(1000.0 * at, 40) for at in range(1, 60)]
    assert one(office(tests, 60_000.0, JudgeSettings())).end is None


def test_both_directions_are_one_impairment() -> None:
    """It begins with the first slow direction and ends with the last."""
    tests = [
        measured(100, 800), measured(110, 100, "up"), measured(200, 300), measured(210, 20, "up"), measured(300, 300),
        measured(310, 20, "up"), measured(400, 800), measured(500, 800), measured(510, 100, "up"),
        measured(610, 100, "up"),
    ]  # fmt: skip
    event = one(office(tests, 700.0))
    assert seconds(event) == [90.0, 190.0, 200.0, 300.0, 500.0, 510.0]
    assert event.detail["up_bps"] == 20_000_000
    assert "slow" not in event.detail


def test_an_impairment_that_nobody_tests_any_more_ends_a_day_later() -> None:
    """Its end lies between the last bad test and then; it is told that there was no test."""
    event = one(office([measured(200, 300), measured(300, 300)], 300.0 + 86_500.0))
    assert event.detail["ended_by"] == "no-test"
    assert seconds(event)[3:] == [290.0, 300.0, 300.0 + 86_400.0]


def test_an_outage_ends_an_impairment_by_speed_and_two_new_tests_have_to_show_it_again() -> None:
    """The line that comes back may be another one."""
    way = Way(cuts=[(400.0, 500.0)])
    tests = [measured(200, 300), measured(300, 300), measured(450, 1), measured(700, 300)]
    told = office(tests, 900.0, way=way)
    (event,) = told.events(EventKind.IMPAIRMENT)
    (outage,) = told.events(EventKind.OUTAGE)
    assert (event.end, event.detail["ended_by"]) == (outage.start, "outage")
    assert len(office([*tests, measured(800, 300)], 900.0, way=way).events(EventKind.IMPAIRMENT)) == 2


def test_loss_and_speed_are_events_of_their_own_and_one_state() -> None:
    """The line is impaired from the first beginning to the last end."""
    way = Way(losses=[(400.0, 1200.0, 0.3)])
    tests = [measured(200, 300), measured(300, 300), measured(800, 800), measured(900, 800)]
    told = office(tests, 2000.0, way=way, every_s=2.0)
    assert sorted(str(event.detail["because"]) for event in told.events()) == ["['loss']", "['speed']"]
    states = told.states("fibre")
    assert [change.state for change in states] == [State.UP, State.IMPAIRED, State.UP]
    loss = next(event for event in told.events() if event.detail["because"] == ["loss"])
    assert loss.end is not None
    assert states[-1].since_unix_ns == loss.end.estimate_unix_ns


def test_a_restart_knows_the_usual_speed_and_which_direction_is_slow() -> None:
    """Two good tests of the next run end what the run before saw begin."""
    tests = [measured(100.0 * at, 100) for at in range(1, 6)] + [measured(600, 40), measured(700, 40)]
    before = office(tests, 800.0, JudgeSettings())
    open_event = one(before)
    assert open_event.detail["slow"] == ["down"]
    alive_unix_ns = before.wall_ns(800.0)
    memory = Memory(
        open_events=(open_event,), last_alive_unix_ns=alive_unix_ns, usuals=json.loads(json.dumps(before.judge.usuals))
    )
    again = [measured(1100, 40), measured(1200, 80), measured(1300, 80), measured(1400, 40), measured(1500, 40)]
    told = office(again, 1600.0, JudgeSettings(), memory=memory, start_s=1000.0).events(EventKind.IMPAIRMENT)
    assert told[0].id == open_event.id
    assert seconds(told[0])[3:] == [1090.0, 1190.0, 1200.0]
    assert seconds(told[1]) == [1290.0, 1390.0, 1400.0]
