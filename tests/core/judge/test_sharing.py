"""Load sharing: two lines that carry at once are told as such, and are neither flapping nor a riddle."""

import pytest

from tests.core.judge.test_stories import CUT, copper, fibre, office, spread
from tests.core.judge.test_switches import figure
from tests.fakes.office import FOREVER
from wanwatch.core.judge import Memory
from wanwatch.core.model import SWITCHES, CarryingChanged, EventKind

BOTH = CarryingChanged("fibre", known=True, shares=("fibre", "copper"))
FLOWS = {"stun-1": ((0.0, "fibre"),), "stun-2": ((0.0, "copper"),)}
"""By destination: this server is reached by the one line, that by the other."""


@pytest.mark.parametrize("chance", range(6))
@pytest.mark.parametrize("how", ["by destination", "by flow"])
def test_two_lines_that_carry_at_once_are_shown_both_and_nothing_is_told(how: str, chance: int) -> None:
    """Neither switches nor flapping nor not knowing, for an hour, whichever way the gateway spreads the load."""
    spread_so = {"flows": FLOWS} if how == "by destination" else {"mixed": [(0.0, FOREVER)]}
    told = office(chance=chance, **spread_so).run(3600)
    assert told.events() == []
    assert told.carried()[-1] == BOTH
    assert told.carried()[1:].count(BOTH) == 1  # once told, it stays
    assert told.judge.carrying.carriers == ("fibre", "copper")


@pytest.mark.parametrize("chance", range(4))
def test_a_gateway_that_begins_to_share_has_not_moved_traffic(chance: int) -> None:
    """What looks like a move at first is none."""
    told = office(chance=chance, mixed=[(300.0, FOREVER)]).run(900)
    assert told.events() == []
    assert told.carried()[-1] == BOTH


@pytest.mark.parametrize("back", ["fibre", "copper"])
def test_a_gateway_that_ends_sharing_has_moved_what_is_elsewhere_than_before(back: str) -> None:
    """Back on the line that carried before: nothing moved. On the other one: traffic left a line that was up."""
    told = office(mixed=[(300.0, 600.0)], moves=((0.0, "fibre"), (600.0, back))).run(900)
    assert told.carried()[-1] == CarryingChanged(back, known=True)
    kinds = [event.kind for event in told.events()]
    assert kinds == ([] if back == "fibre" else [EventKind.NEEDLESS_FAILOVER])


@pytest.mark.parametrize("moved_s", [1.5, 3.2, 8.0])
@pytest.mark.parametrize("near", ["fibre", "copper"])
def test_a_sharing_line_that_dies_is_failed_over_from(near: str, moved_s: float) -> None:
    """From the dead one to the other, with how long the half of traffic that took it was cut off."""
    at_s = CUT[0] + moved_s
    flows = {
        "near": ((0.0, near), (at_s, "copper")),
        "stun-1": ((0.0, "fibre"), (at_s, "copper"), (220.0, "fibre")),
        "stun-2": ((0.0, "copper"),),
    }
    told = office({"fibre": fibre(cuts=[CUT]), "copper": copper()}, flows=flows).run(400)
    (failover,) = told.events(*SWITCHES)
    assert (failover.kind, failover.from_uplink, failover.to_uplink) == (EventKind.FAILOVER, "fibre", "copper")
    assert failover.detail["cause"] == "line-down"
    # Where the close probing took the other line, what is left are the line's own second and the servers' pulse.
    assert failover.interruption_s == pytest.approx(moved_s, abs=0.25 if near == "fibre" else 2.5)
    assert spread(failover.start)[0] <= CUT[0] <= spread(failover.start)[2]
    assert spread(failover.end)[0] <= at_s <= spread(failover.end)[2]
    low, _, high = figure(failover, "detection")
    assert low <= moved_s <= high
    assert CarryingChanged("copper", known=True) in told.carried()
    assert told.carried()[-1] == BOTH  # the line is well again, and the gateway uses both
    assert told.events(EventKind.STUCK_FAILOVER, EventKind.FLAPPING) == []


def test_traffic_that_stays_on_a_dead_line_beside_another_is_stuck() -> None:
    """The gateway goes on sending half of it there."""
    told = office({"fibre": fibre(cuts=[CUT]), "copper": copper()}, flows=FLOWS).run(400)
    (stuck,) = told.events(EventKind.STUCK_FAILOVER)
    assert (stuck.uplink, stuck.detail["because"]) == ("fibre", "recovered")
    assert told.events(*SWITCHES) == []


def test_both_sharing_lines_dead_are_a_blackout_and_then_a_restoration() -> None:
    """Nothing carries; what answers first carries again."""
    ways = {"fibre": fibre(cuts=[CUT]), "copper": copper(cuts=[CUT])}
    told = office(ways, flows=FLOWS).run(400)
    kinds = [event.kind for event in told.events(*SWITCHES)]
    assert kinds == [EventKind.BLACKOUT, EventKind.RESTORATION]
    assert told.carried()[-1] == BOTH


@pytest.mark.parametrize("first", ["stun-1", "stun-2"])
def test_lines_that_shared_before_a_restart_have_not_moved_traffic_since(first: str) -> None:
    """Either of the two is where it was."""
    memory = Memory(carrying="fibre", carrying_known=True, shares=("fibre", "copper"), last_alive_unix_ns=1)
    other = "stun-2" if first == "stun-1" else "stun-1"
    told = office(memory=memory, flows=FLOWS, dead={other: [(0.0, 30.0)]}).run(200)
    assert told.events(*SWITCHES) == []
    assert told.carried()[-1] == BOTH
