"""Stories of lines that fail and come back, judged against the frame forwarder's true instants."""

import signal
import time
from collections.abc import Mapping

import pytest

from tests.lab.bounds import assert_bounds_hold
from tests.lab.office import COPPER, FIBRE, LAN, NEXT_HOP, TARGETS, Truth
from tests.lab.stage import Lab, Outcome, Story, tells, unix_s
from tests.lab.watch import ECHO_V6, MIXED

pytestmark = [pytest.mark.lab, pytest.mark.timeout(300)]

SETTLED_S = 2.0
TRACED_S = 20.0
"""By then the way of each line is known, also while seven other labs start their processes."""
"""How long the lines are left alone before something happens to them."""


def clean_cut(lab: Lab) -> Mapping[str, Truth]:
    """The fibre is cut once its route has been traced, and mended 12 s later."""
    time.sleep(TRACED_S)
    return _cut_and_mend(lab, seconds=12, proved_within_s=80)


def cut_of_the_way_out(lab: Lab) -> Mapping[str, Truth]:
    """Nothing that the office sends over the fibre arrives."""
    return _cut_and_mend(lab, "up")


def cut_of_the_way_back(lab: Lab) -> Mapping[str, Truth]:
    """Nothing that is sent to the office over the fibre arrives."""
    return _cut_and_mend(lab, "down")


def cut_seen_over_ipv6(lab: Lab) -> Mapping[str, Truth]:
    """The fibre is cut, and all that is watched is far away over IPv6."""
    return _cut_and_mend(lab)


def cut_seen_by_every_kind_of_probe(lab: Lab) -> Mapping[str, Truth]:
    """The fibre is cut, and what is watched is a reflector, a port and a page."""
    return _cut_and_mend(lab)


def _cut_and_mend(
    lab: Lab, *ways: str, line: str = FIBRE, seconds: float = 9, proved_within_s: float = 60
) -> Mapping[str, Truth]:
    time.sleep(SETTLED_S)
    cut = lab.office.cut(line, *ways)
    time.sleep(seconds)
    mended = lab.office.mend(line)
    lab.watch.expect("outage", FIBRE, ended=True, within_s=proved_within_s)
    return {"cut": cut, "mended": mended}


def one_gateway_for_both(lab: Lab) -> Mapping[str, Truth]:
    """The gateway hangs: it keeps its cable's carrier, and answers nobody."""
    marks = _cut_and_mend(lab, line=LAN)
    lab.watch.expect("outage", COPPER, ended=True, within_s=60)
    lab.watch.expect("restoration")
    return marks


def a_third_lost(lab: Lab) -> Mapping[str, Truth]:
    """The fibre loses 30 % of what is sent over it, then none."""
    time.sleep(SETTLED_S)
    worse = lab.office.change(FIBRE, {"loss": 0.3}, ("up",))
    lab.watch.expect("impairment", FIBRE)
    time.sleep(8)
    better = lab.office.change(FIBRE, {"loss": 0.0})
    lab.watch.expect("impairment", FIBRE, ended=True, within_s=80)
    return {"worse": worse, "better": better}


def one_target_dead(lab: Lab) -> Mapping[str, Truth]:
    """One of three targets is switched off; both lines are well."""
    time.sleep(SETTLED_S)
    dead = lab.office.silence(TARGETS[1])
    time.sleep(15)
    return {"dead": dead}


def names_dead(lab: Lab) -> Mapping[str, Truth]:
    """The fibre's resolver hangs, and wakes up again; addresses answer all the while."""
    time.sleep(SETTLED_S)
    lab.servers[FIBRE].signal(signal.SIGSTOP)
    hung = Truth.now()
    lab.watch.expect("names-failure", FIBRE)
    lab.servers[FIBRE].signal(signal.SIGCONT)
    woken = Truth.now()
    lab.watch.expect("names-failure", FIBRE, ended=True)
    return {"hung": hung, "woken": woken}


CLEAN_CUT = Story(clean_cut, judge="")
WAY_OUT = Story(cut_of_the_way_out)
WAY_BACK = Story(cut_of_the_way_back)
OVER_IPV6 = Story(cut_seen_over_ipv6, asked=ECHO_V6)
EVERY_KIND = Story(cut_seen_by_every_kind_of_probe, asked=MIXED)
GATEWAY = Story(one_gateway_for_both)
THIRD_LOST = Story(a_third_lost)
TARGET_DEAD = Story(one_target_dead)
NAMES_DEAD = Story(names_dead)


@tells(CLEAN_CUT)
def test_a_clean_cut_is_one_outage_whose_bounds_hold_the_truth(outcome: Outcome) -> None:
    """Default settings: three targets, one probe a second."""
    assert_bounds_hold(outcome.one("outage"), outcome.marks["cut"], outcome.marks["mended"])


@tells(CLEAN_CUT)
def test_a_cut_line_is_the_access_lines_fault(outcome: Outcome) -> None:
    """The gateway answers and the first router beyond it does not."""
    assert outcome.one("outage")["domain"] == "access-line"


@tells(CLEAN_CUT)
def test_an_outage_holds_the_route_before_it_and_where_it_stops_in_it(outcome: Outcome) -> None:
    """Whole while the line was up; behind the cut nobody answers, so that the way ends at the office's gateway."""
    routes = outcome.one("outage")["detail"]["routes"]
    before, during = routes["before"], routes["during"]
    ways = [[hop["address"] for hop in route["hops"]] for route in (before, during)]
    assert before["reached"]
    assert not during["reached"]
    assert ways[0][1:] == [NEXT_HOP[FIBRE], TARGETS[0]]
    assert ways[1] == ways[0][:1]
    assert unix_s(before["at"]) < outcome.marks["cut"].unix_s < unix_s(during["at"]) < outcome.marks["mended"].unix_s


@tells(CLEAN_CUT)
def test_nothing_is_claimed_of_the_line_that_held(outcome: Outcome) -> None:
    """The other line was up throughout, and traffic never moved."""
    assert not [event for event in outcome.events if event["uplink"] == COPPER]
    assert not outcome.of("failover", "failback", "needless-failover", "unobserved", "clock-step", "pin-lost")
    assert outcome.states == {FIBRE: "up", COPPER: "up"}


@tells(CLEAN_CUT)
def test_the_months_report_counts_the_outage_as_long_as_it_was(outcome: Outcome) -> None:
    """The report's down time is the outage's length, within the bounds' widths."""
    fibre, copper = outcome.report["uplinks"]
    assert fibre["down_s"] == pytest.approx(outcome.marks["mended"].unix_s - outcome.marks["cut"].unix_s, abs=1.6)
    assert copper["down_s"] == 0
    assert [event["id"] for event in fibre["outages"]] == [outcome.one("outage")["id"]]


@tells(WAY_OUT)
def test_a_cut_of_the_way_out_is_an_outage(outcome: Outcome) -> None:
    """It makes no difference to people which direction is dead."""
    assert_bounds_hold(outcome.one("outage"), outcome.marks["cut"], outcome.marks["mended"])


@tells(WAY_BACK)
def test_a_cut_of_the_way_back_is_an_outage(outcome: Outcome) -> None:
    """It makes no difference to people which direction is dead."""
    assert_bounds_hold(outcome.one("outage"), outcome.marks["cut"], outcome.marks["mended"])


@tells(OVER_IPV6)
def test_an_outage_is_seen_over_ipv6_as_over_ipv4(outcome: Outcome) -> None:
    """Pins, echo and the timing of interruptions work the same in both families."""
    outage = outcome.one("outage")
    assert_bounds_hold(outage, outcome.marks["cut"], outcome.marks["mended"])
    cut_off_s = outcome.marks["mended"].unix_s - outcome.marks["cut"].unix_s
    assert outage["interruption_s"] == pytest.approx(cut_off_s, abs=0.25)


@tells(EVERY_KIND)
def test_an_outage_is_seen_by_whatever_is_asked(outcome: Outcome) -> None:
    """STAMP, TCP connects and fetches bound an outage as echoes do, but for the end.

    A connect that began within the outage is answered once TCP itself has asked again, a second later (RFC 6298
    section 2), and nobody can tell when within that second the line came back.
    """
    marks = outcome.marks
    assert_bounds_hold(outcome.one("outage"), marks["cut"], marks["mended"], end_wide_s=1.3)


@tells(GATEWAY)
def test_a_dead_gateway_takes_both_lines_down_and_is_blamed(outcome: Outcome) -> None:
    """Both lines are silent, and the first rung that fails on each is the gateway."""
    for line in (FIBRE, COPPER):
        outage = outcome.one("outage", line)
        assert outage["domain"] == "gateway"
        assert_bounds_hold(outage, outcome.marks["cut"], outcome.marks["mended"], line)


@tells(GATEWAY)
def test_a_dead_gateway_is_a_blackout_for_people(outcome: Outcome) -> None:
    """Nothing carries while it hangs; the interruption is as long as it hung."""
    blackout, restoration = outcome.one("blackout"), outcome.one("restoration")
    hung_s = outcome.marks["mended"].unix_s - outcome.marks["cut"].unix_s
    assert (blackout["from"], blackout["to"], restoration["from"], restoration["to"]) == (FIBRE, None, None, FIBRE)
    assert restoration["interruption_s"] == pytest.approx(hung_s, abs=0.25)
    assert not outcome.of("failover", "failback", "needless-failover", "stuck-failover")


@tells(THIRD_LOST)
def test_loss_impairs_a_line_and_is_no_outage(outcome: Outcome) -> None:
    """A line that loses a third of its packets is up, and bad."""
    impairment = outcome.one("impairment")
    assert impairment["uplink"] == FIBRE
    assert not outcome.of("outage", "failover", "needless-failover")
    assert unix_s(impairment["start_earliest"]) <= outcome.marks["worse"].unix_s <= unix_s(impairment["start_latest"])
    assert unix_s(impairment["end_latest"]) >= outcome.marks["better"].unix_s
    assert outcome.states == {FIBRE: "up", COPPER: "up"}


@tells(TARGET_DEAD)
def test_one_silent_target_says_nothing_of_the_line(outcome: Outcome) -> None:
    """One silent target is that target's trouble: neither line is down or impaired, and no traffic moved."""
    assert outcome.events == []
    assert outcome.states == {FIBRE: "up", COPPER: "up"}


@tells(NAMES_DEAD)
def test_answers_by_address_but_not_by_name_are_a_names_failure(outcome: Outcome) -> None:
    """The line is up; its resolver is not. One question in two seconds, so bounds are that wide."""
    failure = outcome.one("names-failure")
    assert (failure["uplink"], failure["domain"]) == (FIBRE, "names")
    assert unix_s(failure["start_earliest"]) <= outcome.marks["hung"].unix_s <= unix_s(failure["start_latest"]) + 0.1
    # A question that waits while the resolver hangs is answered once it wakes, so the end may be up to 2 s early.
    assert unix_s(failure["end_earliest"]) - 2 <= outcome.marks["woken"].unix_s <= unix_s(failure["end_latest"]) + 2
    assert not outcome.of("outage", "impairment")
