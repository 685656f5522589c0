"""Stories of traffic that moves, or should have, judged by when the lab cut lines and moved routes.

An interruption is to be told within 0.25 s of the truth.
"""

import time
from collections.abc import Mapping

import pytest

from tests.lab.office import COPPER, FIBRE, NEXT_HOP, STUN, Truth
from tests.lab.stage import Lab, Outcome, Story, tells, unix_s
from tests.lab.watch import QUICK

pytestmark = [pytest.mark.lab, pytest.mark.timeout(300)]

SETTLED_S = 2.0
"""How long the lines are left alone before something happens to them."""
GATEWAY_TAKES_S = 3.0
CLOSE_S = 0.25


def failover_and_back(lab: Lab) -> Mapping[str, Truth]:
    """The fibre is cut; the gateway moves traffic to copper 3 s later, and back once the fibre is well."""
    time.sleep(SETTLED_S)
    cut = lab.office.cut(FIBRE)
    time.sleep(GATEWAY_TAKES_S)
    moved = lab.office.move(COPPER)
    lab.watch.expect("failover")
    lab.watch.expect("outage", FIBRE)
    mended = lab.office.mend(FIBRE)
    lab.watch.expect("outage", FIBRE, ended=True)
    time.sleep(1)
    back = lab.office.move(FIBRE)
    lab.watch.expect("failback")
    time.sleep(2)
    return {"cut": cut, "moved": moved, "mended": mended, "back": back}


def failover_where_the_mini_pc_routes(lab: Lab) -> Mapping[str, Truth]:
    """The same, where the mini PC is the gateway."""
    return failover_and_back(lab)


def move_without_need(lab: Lab) -> Mapping[str, Truth]:
    """The gateway leaves a fibre that is well, and comes back."""
    time.sleep(SETTLED_S)
    moved = lab.office.move(COPPER)
    lab.watch.expect("needless-failover")
    back = lab.office.move(FIBRE)
    lab.watch.expect("failback")
    time.sleep(2)
    return {"moved": moved, "back": back}


def gateway_that_never_moves(lab: Lab) -> Mapping[str, Truth]:
    """The fibre is cut and copper is well, and the gateway sits still."""
    time.sleep(SETTLED_S)
    cut = lab.office.cut(FIBRE)
    lab.watch.expect("stuck-failover")
    time.sleep(2)
    mended = lab.office.mend(FIBRE)
    lab.watch.expect("outage", FIBRE, ended=True)
    lab.watch.expect("stuck-failover", ended=True)
    return {"cut": cut, "mended": mended}


def both_cut(lab: Lab) -> Mapping[str, Truth]:
    """Both lines are cut within a breath, and mended so."""
    time.sleep(SETTLED_S)
    cut = lab.office.cut(FIBRE)
    copper_cut = lab.office.cut(COPPER)
    lab.watch.expect("blackout")
    time.sleep(3)
    copper_mended = lab.office.mend(COPPER)
    mended = lab.office.mend(FIBRE)
    lab.watch.expect("outage", FIBRE, ended=True)
    lab.watch.expect("outage", COPPER, ended=True)
    lab.watch.expect("restoration")
    time.sleep(2)
    return {"cut": cut, "mended": mended, "copper cut": copper_cut, "copper mended": copper_mended}


def flows_stuck_to_the_dead_line(lab: Lab) -> Mapping[str, Truth]:
    """The gateway moves new flows to copper but keeps the old ones on the dead fibre, until it is told to let go."""
    time.sleep(SETTLED_S)
    cut = lab.office.cut(FIBRE)
    time.sleep(GATEWAY_TAKES_S)
    moved = lab.office.move(COPPER, forget_flows=False)
    time.sleep(6)
    forgotten = lab.office.move(COPPER)
    lab.watch.expect("failover", within_s=80)
    time.sleep(3)
    return {"cut": cut, "moved": moved, "forgotten": forgotten}


def shared_load(lab: Lab) -> Mapping[str, Truth]:
    """The gateway sends what goes to one server over copper, all else over the fibre; then the fibre is cut."""
    forget = "ip netns exec gw conntrack -F 2>/dev/null"
    lab.office.world.script(f"ip -n gw route add {STUN[1]} via {NEXT_HOP[COPPER]}\n{forget}")
    shared = Truth.now()
    lab.watch.until(lambda: lab.watch.health()["carrying"]["shares"] == [FIBRE, COPPER], "both lines carry", 40)
    time.sleep(SETTLED_S)
    cut = lab.office.cut(FIBRE)
    time.sleep(GATEWAY_TAKES_S)
    moved = lab.office.move(COPPER)
    lab.watch.expect("failover", within_s=80)
    return {"shared": shared, "cut": cut, "moved": moved}


def line_that_flaps(lab: Lab) -> Mapping[str, Truth]:
    """Copper, which carries nothing, goes down and up twice."""
    time.sleep(SETTLED_S)
    cut = lab.office.cut(COPPER)
    for turn in range(2):
        lab.watch.until(lambda: lab.watch.states().get(COPPER) == "down", "copper down", 30)
        mended = lab.office.mend(COPPER)
        lab.watch.until(lambda: lab.watch.states().get(COPPER) == "up", "copper up", 30)
        if turn == 0:
            lab.office.cut(COPPER)
    lab.watch.expect("flapping", COPPER, ended=True, within_s=120)
    return {"cut": cut, "mended": mended}


FAILOVER = Story(failover_and_back)
SHARED = Story(shared_load)
FLAPPING = Story(line_that_flaps, judge=f'{QUICK}\nflapping_within = "25s"')
ROUTER = Story(failover_where_the_mini_pc_routes, mini_pc_routes=True)
NEEDLESS = Story(move_without_need)
STUCK = Story(gateway_that_never_moves)
BLACKOUT = Story(both_cut)
STUCK_FLOWS = Story(flows_stuck_to_the_dead_line)


def _between(outcome: Outcome, first: str, last: str) -> float:
    return (outcome.marks[last].at_ns - outcome.marks[first].at_ns) / 1e9


def assert_failed_over_and_back(outcome: Outcome) -> None:
    """One failover with its true interruption, one failback, and no other switch."""
    failover, failback = outcome.one("failover"), outcome.one("failback")
    assert (failover["from"], failover["to"]) == (FIBRE, COPPER)
    assert failover["interruption_s"] == pytest.approx(_between(outcome, "cut", "moved"), abs=CLOSE_S)
    assert (failback["from"], failback["to"]) == (COPPER, FIBRE)
    # Nothing was cut when traffic came back, so at most a probe or two of the pulse went astray.
    assert (failback["interruption_s"] or 0) <= CLOSE_S
    assert not outcome.of("needless-failover", "stuck-failover", "blackout", "restoration")
    assert outcome.one("outage")["uplink"] == FIBRE


@tells(FAILOVER)
def test_a_failover_is_told_with_how_long_people_were_cut_off(outcome: Outcome) -> None:
    """Behind a gateway the public address is the witness."""
    assert_failed_over_and_back(outcome)


@tells(ROUTER)
def test_a_failover_of_this_machines_own_route_is_told_likewise(outcome: Outcome) -> None:
    """Where the mini PC routes, the kernel is the witness."""
    assert_failed_over_and_back(outcome)


@tells(FAILOVER)
def test_behind_a_gateway_nobody_sees_the_hand_that_moves_traffic_back(outcome: Outcome) -> None:
    """The line that was left was well, and only the gateway knows why."""
    assert outcome.one("failover")["detail"]["cause"] == "line-down"
    assert outcome.one("failback")["detail"]["cause"] == "unknown"


@tells(ROUTER)
def test_where_the_mini_pc_routes_a_hand_is_seen(outcome: Outcome) -> None:
    """rtnetlink(7): the lab moves traffic with `ip route`, as a person would; the dead line is a cause by itself."""
    assert outcome.one("failover")["detail"]["cause"] == "line-down"
    assert outcome.one("failback")["detail"]["cause"] == "by-hand"


@tells(FAILOVER)
def test_the_lengths_around_a_switch_hold_the_truth(outcome: Outcome) -> None:
    """How long the failure took to be noticed, how long traffic was away and how long it was held back."""
    for kind, name, first, last in (
        ("failover", "detection", "cut", "moved"),
        ("failback", "away", "moved", "back"),
        ("failback", "hold", "mended", "back"),
    ):
        low, high = outcome.one(kind)["detail"][f"{name}_bounds_s"]
        assert low - CLOSE_S <= _between(outcome, first, last) <= high + CLOSE_S, name


@tells(FAILOVER)
def test_the_switch_is_told_when_it_happened(outcome: Outcome) -> None:
    """The route's true move lies within the bounds, or within a round trip and a pulse after them."""
    failover = outcome.one("failover")
    end = failover["end_latest"] or failover["start_latest"]
    assert unix_s(failover["start_earliest"]) <= outcome.marks["moved"].unix_s <= unix_s(end) + CLOSE_S


@tells(FAILOVER)
def test_the_report_lists_both_switches(outcome: Outcome) -> None:
    """What the month's report tells of switches is what happened, in order."""
    assert [event["kind"] for event in outcome.report["switches"]] == ["failover", "failback"]


@tells(NEEDLESS)
def test_traffic_that_leaves_a_line_which_is_up_does_so_needlessly(outcome: Outcome) -> None:
    """No outage, and the switch is named for what it is."""
    needless, failback = outcome.one("needless-failover"), outcome.one("failback")
    assert (needless["from"], needless["to"]) == (FIBRE, COPPER)
    assert (failback["from"], failback["to"]) == (COPPER, FIBRE)
    assert not outcome.of("outage", "failover", "impairment", "blackout", "stuck-failover")


@tells(STUCK)
def test_a_gateway_that_never_moves_traffic_is_told_on(outcome: Outcome) -> None:
    """One stuck failover over the time of the outage; nothing moved, so no switch."""
    stuck = outcome.one("stuck-failover")
    assert unix_s(stuck["start_latest"]) >= outcome.marks["cut"].unix_s
    assert not outcome.of("failover", "needless-failover", "failback")
    assert outcome.one("outage")["uplink"] == FIBRE


@tells(BLACKOUT)
def test_two_cut_lines_are_a_blackout_and_then_a_restoration(outcome: Outcome) -> None:
    """Both outages, one switch to none, one from none, and how long nothing answered anyone."""
    blackout, restoration = outcome.one("blackout"), outcome.one("restoration")
    assert (blackout["from"], blackout["to"]) == (FIBRE, None)
    assert (restoration["from"], restoration["to"]) == (None, FIBRE)
    truth_s = _between(outcome, "cut", "mended")
    told = [event["interruption_s"] for event in (blackout, restoration) if event["interruption_s"] is not None]
    assert told
    assert all(seconds == pytest.approx(truth_s, abs=CLOSE_S) for seconds in told)
    assert {event["uplink"] for event in outcome.of("outage")} == {FIBRE, COPPER}
    assert not outcome.of("failover", "needless-failover", "stuck-failover")


@tells(STUCK_FLOWS)
def test_flows_stuck_to_a_dead_line_are_still_interrupted(outcome: Outcome) -> None:
    """Traffic that began before the cut had no answer until the gateway forgot it: that is what people met."""
    failover = outcome.one("failover")
    assert (failover["from"], failover["to"]) == (FIBRE, COPPER)
    assert failover["interruption_s"] == pytest.approx(_between(outcome, "cut", "forgotten"), abs=CLOSE_S)


@tells(SHARED)
def test_two_lines_that_share_the_load_are_failed_over_from_when_one_dies(outcome: Outcome) -> None:
    """No switch while both carry; then one, from the dead line, with how long its part of traffic was cut off."""
    failover = outcome.one("failover")
    assert (failover["from"], failover["to"]) == (FIBRE, COPPER)
    assert failover["interruption_s"] == pytest.approx(_between(outcome, "cut", "moved"), abs=CLOSE_S)
    assert unix_s(failover["start_latest"]) >= outcome.marks["cut"].unix_s
    assert not outcome.of("needless-failover", "failback", "blackout", "restoration", "flapping", "stuck-failover")


@tells(FLAPPING)
def test_a_line_that_goes_down_and_up_twice_flaps_once(outcome: Outcome) -> None:
    """One spell over both outages, which stay in the record."""
    spell = outcome.one("flapping")
    assert (spell["uplink"], spell["detail"]["changes"]) == (COPPER, 4)
    assert unix_s(spell["start_earliest"]) <= outcome.marks["cut"].unix_s <= unix_s(spell["start_latest"])
    assert unix_s(spell["end_earliest"]) <= outcome.marks["mended"].unix_s <= unix_s(spell["end_latest"])
    assert len(outcome.of("outage")) == 2
