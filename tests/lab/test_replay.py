"""Stories judged again from the samples that the daemon stored: the same events as it told while they happened."""

import time
from collections.abc import Mapping
from typing import Any

import pytest

from tests.lab.office import FIBRE, Truth
from tests.lab.stage import Lab, Outcome, Story, tells, unix_s
from tests.lab.test_switches import failover_and_back
from wanwatch.config import load
from wanwatch.config.plan import judge_settings, questions, store_path
from wanwatch.core.event_json import event_to_json
from wanwatch.core.model import Span
from wanwatch.core.replay import Site, replay
from wanwatch.store import SqliteRecord

pytestmark = [pytest.mark.lab, pytest.mark.timeout(300)]

CLOSE_S = 0.005
"""The daemon sees monotonic instants through the wall clock as it stands when it tells an event, the record through
the wall clock as it stood at each send; between the two the kernel may steer the clock by 500 parts in a million
(adjtimex(2)), 5 ms in the ten seconds that it takes to tell of a switch."""
INSTANTS = ("start", "end", "start_earliest", "start_latest", "end_earliest", "end_latest")


def traffic_moves_and_is_judged_again(lab: Lab) -> Mapping[str, Truth]:
    """The fibre is cut, traffic moves to copper and comes home."""
    return failover_and_back(lab)


def traffic_of_the_mini_pc_moves_and_is_judged_again(lab: Lab) -> Mapping[str, Truth]:
    """The same where the mini PC is the gateway, and the kernel's own routes and links are witnesses."""
    return failover_and_back(lab)


def a_fifth_lost_and_judged_again(lab: Lab) -> Mapping[str, Truth]:
    """The fibre loses a fifth of what is sent over it, then is cut, then is well."""
    time.sleep(2)
    worse = lab.office.change(FIBRE, {"loss": 0.2}, ("up",))
    lab.watch.expect("impairment", FIBRE)
    lab.office.cut(FIBRE)
    lab.watch.expect("outage", FIBRE)
    lab.office.change(FIBRE, {"loss": 0.0})
    better = lab.office.mend(FIBRE)
    lab.watch.expect("outage", FIBRE, ended=True)
    return {"worse": worse, "better": better}


MOVES = Story(traffic_moves_and_is_judged_again)
MINI_PC_MOVES = Story(traffic_of_the_mini_pc_moves_and_is_judged_again, mini_pc_routes=True)
LOSES = Story(a_fifth_lost_and_judged_again)


def _again(outcome: Outcome) -> list[dict[str, Any]]:
    config = load(outcome.folder / "wanwatch.toml")
    names = tuple(uplink.name for uplink in config.uplinks)
    site = Site(config.site.name, names, questions(config))
    with SqliteRecord(store_path(config)) as record:
        told = replay(record, site, Span(0, 2**62), [judge_settings(config)])
    return [event_to_json(event) for event in told.events[0]]


def _in_order(events: list[dict[str, Any]]) -> list[dict[str, Any]]:
    return sorted(events, key=lambda event: (round(unix_s(event["start"]), 1), event["kind"], event["uplink"] or ""))


def _assert_same(live: list[dict[str, Any]], again: list[dict[str, Any]]) -> None:
    live, again = _in_order(live), _in_order(again)
    facts = ("kind", "uplink", "domain", "from", "to")
    assert [[event[key] for key in facts] for event in again] == [[event[key] for key in facts] for event in live]
    for left, right in zip(live, again, strict=True):
        for key in INSTANTS:
            if left[key] is None or right[key] is None:
                assert left[key] is right[key], (key, left, right)
            else:
                assert abs(unix_s(left[key]) - unix_s(right[key])) <= CLOSE_S, (key, left, right)
        assert right["interruption_s"] == pytest.approx(left["interruption_s"], abs=CLOSE_S)
        by_kind = [event["detail"].get("interruption", {}) for event in (left, right)]
        assert by_kind[0].keys() == by_kind[1].keys()
        for kind, figures in by_kind[0].items():
            assert by_kind[1][kind] == pytest.approx(figures, abs=CLOSE_S), kind


@tells(MOVES)
def test_an_outage_and_its_switches_are_told_again_as_they_were(outcome: Outcome) -> None:
    """Same kinds, lines, domains and ways; same instants and bounds."""
    assert {"outage", "failover", "failback"} <= {event["kind"] for event in outcome.events}
    _assert_same(outcome.events, _again(outcome))


@tells(MINI_PC_MOVES)
def test_switches_seen_by_the_kernels_routes_are_told_again_as_they_were(outcome: Outcome) -> None:
    """What the kernel said is kept where it changed."""
    assert {"outage", "failover", "failback"} <= {event["kind"] for event in outcome.events}
    _assert_same(outcome.events, _again(outcome))


@tells(LOSES)
def test_an_impairment_that_becomes_an_outage_is_told_again_as_it_was(outcome: Outcome) -> None:
    """Windows, losses and the cut that ends them."""
    assert {"outage", "impairment"} <= {event["kind"] for event in outcome.events}
    _assert_same(outcome.events, _again(outcome))
