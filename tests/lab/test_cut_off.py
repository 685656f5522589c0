"""How long each kind of ordinary traffic was cut off, judged by when the lab cut lines, moved routes and forgot flows.

Names and new connections are asked once a second, so that a figure may be off by one at each end; its bounds hold the
truth all the same. TCP waits twice as long each time before it sends again (RFC 6298 section 5.5), so an open
connection notices up to a silence's own length later that the network is back.
"""

import pytest

from tests.lab.office import COPPER, ONE_WAY_S, Truth
from tests.lab.stage import Outcome, tells
from tests.lab.test_switches import FAILOVER, ROUTER, STUCK_FLOWS
from tests.lab.watch import Told

pytestmark = [pytest.mark.lab, pytest.mark.timeout(300)]

ECHO_CLOSE_S = 0.25
ASKED_CLOSE_S = 1.25
"""A second's interval, and some time for a busy machine."""
AWAY_S = 2 * ONE_WAY_S[COPPER] + 0.05
"""A probe may be under way when its line is cut, and the lab tells a move once it is done."""
OPENING_S = 3.0
"""An attempt to open a connection that began before the network was back waits for 2 s, and then for its turn."""


def _length_s(cut: Truth, back: Truth) -> float:
    return (back.at_ns - cut.at_ns) / 1e9


def _assert_holds(said: Told, truth_s: float, close_s: float) -> None:
    assert said["low_s"] - AWAY_S <= truth_s <= said["high_s"] + AWAY_S, said
    assert said["s"] == pytest.approx(truth_s, abs=close_s), said


@tells(FAILOVER)
def test_each_kind_comes_back_when_the_gateway_moves_traffic(outcome: Outcome) -> None:
    """The path within 0.25 s, names and new connections within their interval."""
    said = outcome.one("failover")["detail"]["interruption"]
    truth_s = _length_s(outcome.marks["cut"], outcome.marks["moved"])
    for kind, close_s in (("echo", ECHO_CLOSE_S), ("names", ASKED_CLOSE_S), ("connect", ASKED_CLOSE_S)):
        _assert_holds(said[kind], truth_s, close_s)


@tells(FAILOVER)
def test_an_open_connection_breaks_where_the_gateway_forgets_its_flows(outcome: Outcome) -> None:
    """The far end knows no connection from the other line's address, and resets it (RFC 9293 section 3.5.2)."""
    held = outcome.one("failover")["detail"]["interruption"]["held"]
    truth_s = _length_s(outcome.marks["cut"], outcome.marks["moved"])
    assert held["survived"] is False
    assert truth_s - ASKED_CLOSE_S <= held["s"] <= 2 * truth_s + OPENING_S
    assert held["high_s"] >= truth_s - AWAY_S


@tells(ROUTER)
def test_the_same_holds_where_the_mini_pc_is_the_gateway(outcome: Outcome) -> None:
    """An open connection keeps the address of the line that died, and the other provider lets no stranger's out."""
    said = outcome.one("failover")["detail"]["interruption"]
    truth_s = _length_s(outcome.marks["cut"], outcome.marks["moved"])
    for kind, close_s in (("echo", ECHO_CLOSE_S), ("names", ASKED_CLOSE_S), ("connect", ASKED_CLOSE_S)):
        _assert_holds(said[kind], truth_s, close_s)
    assert said["held"]["s"] is None or said["held"]["s"] >= truth_s - ASKED_CLOSE_S


@tells(STUCK_FLOWS)
def test_flows_stuck_to_a_dead_line_cut_off_what_was_open_and_not_what_is_new(outcome: Outcome) -> None:
    """New questions and connections go by the other line; what was under way stays silent until the gateway forgets."""
    said = outcome.one("failover")["detail"]["interruption"]
    moved_s = _length_s(outcome.marks["cut"], outcome.marks["moved"])
    forgotten_s = _length_s(outcome.marks["cut"], outcome.marks["forgotten"])
    _assert_holds(said["echo"], forgotten_s, ECHO_CLOSE_S)
    for kind in ("names", "connect"):
        _assert_holds(said[kind], moved_s, ASKED_CLOSE_S)
    assert said["held"]["survived"] is not True
    least_s = said["held"]["low_s"] if said["held"]["s"] is None else said["held"]["s"]
    assert least_s >= forgotten_s - ASKED_CLOSE_S
