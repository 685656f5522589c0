"""The stage plays the story in time, and tells the daemon's conclusions once each."""

import io
from dataclasses import replace

import pytest

from wanwatch.core.model import Bounds, CarryingChanged, Effect, Event, EventKind, Pace, State, StateChanged, Tell
from wanwatch.demo.office import QUIET
from wanwatch.demo.roads import Roads
from wanwatch.demo.stage import Stage
from wanwatch.demo.story import Step
from wanwatch.publish.terminal import Terminal

NOW = Bounds(0, 0, 0)
LATER = Bounds(18 * 10**9, 18 * 10**9, 18 * 10**9)
OUTAGE = Event("outage-1", "demo", EventKind.OUTAGE, "fibre", NOW)
SWITCH = Event("failover-1", "demo", EventKind.FAILOVER, None, NOW, from_uplink="fibre", to_uplink="copper")
STUCK = Event("stuck-1", "demo", EventKind.STUCK_FAILOVER, "fibre", NOW)


def told(*effects: Effect) -> list[str]:
    """What is printed of these effects, without seconds and speaker."""
    out = io.StringIO()
    stage = Stage(Terminal(out, {}, 100), Roads(QUIET, chance=lambda: 0.5))
    for effect in effects:
        stage.hear(effect)
    return [line[18:] for line in out.getvalue().splitlines()]


@pytest.mark.parametrize(
    ("effects", "lines"),
    [
        ([StateChanged("fibre", State.DOWN, 0)], ["fibre is down"]),
        ([CarryingChanged("copper", known=True)], ["traffic takes copper"]),
        ([CarryingChanged(None, known=True)], ["traffic takes no line"]),
        ([CarryingChanged(None, known=False)], ["traffic takes a line that cannot be told"]),
        ([Pace("fibre", quick=True)], []),
        ([Tell(OUTAGE)], []),  # the state has told it
        ([Tell(OUTAGE), Tell(replace(OUTAGE, end=LATER))], ["fibre: down, lasted 18.0 s"]),
        ([Tell(STUCK)], ["fibre: stuck failover, traffic has not left this dead line, still going on"]),
        ([Tell(replace(OUTAGE, kind=EventKind.UNOBSERVED, end=LATER))], []),
    ],
)
def test_a_conclusion_is_told_in_words(effects: list[Effect], lines: list[str]) -> None:
    """States and traffic as they change, events as they end; a start only where no state shows it."""
    assert told(*effects) == lines


def test_an_event_that_is_told_again_is_not_printed_again() -> None:
    """The last telling holds, but a terminal is not a record."""
    ended = Tell(replace(SWITCH, end=LATER, interruption_s=5.0))
    assert told(ended, ended) == ["failover: traffic moved from fibre to copper, people were cut off for 5.0 s"]


async def test_steps_are_played_in_time_and_their_instants_kept() -> None:
    """The truth that conclusions are compared with is when a step really happened, not when it should have."""
    out = io.StringIO()
    roads = Roads(QUIET, chance=lambda: 0.5)
    stage = Stage(Terminal(out, {}, 100), roads)
    await stage.play(
        [
            Step("one", 0.0, "First.", lambda scene: scene.carried_by("copper")),
            Step("two", 0.12, "Second.", lambda scene: scene.carried_by(None)),
        ]
    )
    assert roads.scene == QUIET.carried_by(None)
    assert 0.12 <= (stage.instants["two"] - stage.instants["one"]) / 1e9 < 0.5
    assert out.getvalue() == "   0.0  office    First.\n   0.1  office    Second.\n"
