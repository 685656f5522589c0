"""Switches in full: why traffic moved, how long that took, and how long it stayed away."""

from collections.abc import Callable

import pytest

from tests.core.judge.test_stories import CUT, UPLINKS, copper, fibre, office
from tests.fakes.office import Office, full_questions, ns
from wanwatch.core.judge import SiteJudge
from wanwatch.core.model import (
    Event,
    EventKind,
    JudgeSettings,
    LinkSeen,
    Observation,
    Role,
    RouteSeen,
    State,
    StateChanged,
)

Seen = tuple[float, Callable[[int, int], Observation]]
BOOT, STATIC, DHCP, ZEBRA = 3, 4, 16, 11
"""Values of rtm_protocol (rtnetlink(7), linux/rtnetlink.h)."""
ROUTED = [q for q in full_questions() if q.series.role is not Role.EGRESS]


def route(at_s: float, uplink: str | None, *changed_by: int) -> Seen:
    """The kernel's route at an instant."""
    return at_s, lambda at_ns, unix_ns: RouteSeen(at_ns, unix_ns, uplink, changed_by)


def link(at_s: float, *, carrier: bool = True, enabled: bool = True) -> Seen:
    """The fibre's interface at an instant."""
    return at_s, lambda at_ns, unix_ns: LinkSeen(
        at_ns, unix_ns, "fibre", carrier=carrier, address=True, interface="eth1", enabled=enabled
    )


def looks(until_s: int) -> list[Seen]:
    """The looks of once a second at a machine that routes by the fibre, whose link is well."""
    return [seen for at_s in range(until_s) for seen in (route(at_s + 0.5, "fibre"), link(at_s + 0.5))]


def switch(
    *seen: Seen, cuts: tuple[tuple[float, float], ...] = (), to: str | None = "copper", at_s: float = 101.4
) -> Event:
    """The one switch of an office whose mini PC is the gateway."""
    ways = {"fibre": fibre(cuts=cuts), "copper": copper()}
    told = office(ways, ROUTED, seen=[*looks(101), *seen], moves=((0.0, "fibre"), (at_s, to))).run(200)
    (found,) = [event for event in told.events() if event.from_uplink is not None]
    return found


@pytest.mark.parametrize(
    ("changed_by", "cause"),
    [
        ((BOOT,), "by-hand"),
        ((STATIC, BOOT), "by-hand"),
        ((DHCP,), "unknown"),
        ((ZEBRA, BOOT), "unknown"),
        ((), "unknown"),
    ],
)
def test_a_route_that_an_administrator_changed_off_a_line_that_is_well_was_moved_by_hand(
    changed_by: tuple[int, ...], cause: str
) -> None:
    """rtnetlink(7): RTPROT_BOOT and RTPROT_STATIC are the administrator's; a daemon's or a silent change is not."""
    told = switch(route(101.4, "copper", *changed_by), link(101.5))
    assert (told.kind, told.detail["cause"]) == (EventKind.NEEDLESS_FAILOVER, cause)
    assert told.detail.get("hand") == ("route" if cause == "by-hand" else None)


def test_a_route_that_is_taken_away_by_hand_is_a_blackout_by_hand() -> None:
    """No route is left: the removal was announced."""
    told = switch(route(101.4, None, BOOT), link(101.5), to=None)
    assert (told.kind, told.detail["cause"]) == (EventKind.BLACKOUT, "by-hand")


def test_whoever_moves_traffic_off_a_dead_line_is_not_the_cause() -> None:
    """The line was down: that is why, even if a person did the moving."""
    told = switch(route(101.4, "copper", BOOT), cuts=(CUT,))
    assert (told.kind, told.detail["cause"]) == (EventKind.FAILOVER, "line-down")


def test_a_route_changed_when_the_link_had_no_carrier_is_nobodys_hand() -> None:
    """With the plug out, a script or a person only follows."""
    told = switch(link(101.2, carrier=False), route(101.4, "copper", BOOT))
    assert told.detail["cause"] == "unknown"


def test_an_interface_that_is_switched_off_is_a_hand_and_one_without_carrier_is_not() -> None:
    """netdevice(7): IFF_UP is cleared by an operator; carrier goes by itself."""
    off, out = (link(100.13, carrier=False, enabled=enabled) for enabled in (False, True))
    by_hand = switch(link(100.05), off, route(101.4, "copper"), cuts=(CUT,))
    assert (by_hand.kind, by_hand.detail["cause"]) == (EventKind.FAILOVER, "by-hand")
    assert by_hand.detail["hand"] == "interface"
    assert switch(link(100.05), out, route(101.4, "copper"), cuts=(CUT,)).detail["cause"] == "line-down"


def test_an_interface_that_is_switched_off_under_a_dead_line_is_not_why_traffic_left() -> None:
    """The line had fallen silent long before."""
    told = switch(
        *(link(at_s + 0.5) for at_s in range(101, 105)), link(105.0, carrier=False, enabled=False),
        route(105.1, "copper"), cuts=(CUT,), at_s=105.1,
    )  # fmt: skip
    assert told.detail["cause"] == "line-down"


def figure(event: Event, name: str) -> tuple[float, float, float]:
    """Lowest, estimate and highest of a figure."""
    value, bounds = event.detail[f"{name}_s"], event.detail[f"{name}_bounds_s"]
    assert isinstance(value, float)
    assert isinstance(bounds, list)
    low, high = bounds
    assert isinstance(low, float)
    assert isinstance(high, float)
    assert low <= value <= high
    return low, value, high


@pytest.mark.parametrize("after_s", [0.4, 3.2, 12.7])
def test_a_failover_says_how_long_the_failure_took_to_be_noticed(after_s: float) -> None:
    """From the line's first unanswered send to traffic's arrival on the other one; the truth is within the bounds."""
    moves = ((0.0, "fibre"), (CUT[0] + after_s, "copper"))
    told = office({"fibre": fibre(cuts=[CUT]), "copper": copper()}, moves=moves).run(180)
    (failover,) = told.events(EventKind.FAILOVER)
    low, value, high = figure(failover, "detection")
    assert low <= after_s <= high
    assert value == pytest.approx(after_s, abs=1.2)  # the line is asked every second by three targets
    assert high - low <= 1.6


def test_a_failback_says_how_long_traffic_was_away_and_how_long_the_line_was_well_before() -> None:
    """Away since it had come to copper; held back since the fibre answered again."""
    moves = ((0.0, "fibre"), (103.3, "copper"), (250.2, "fibre"))
    told = office({"fibre": fibre(cuts=[CUT]), "copper": copper()}, moves=moves).run(400)
    (failback,) = told.events(EventKind.FAILBACK)
    low, value, high = figure(failback, "away")
    assert low <= 250.2 - 103.3 <= high
    assert value == pytest.approx(250.2 - 103.3, abs=5.0)  # its return is known from STUN only, asked every 5 s
    low, value, high = figure(failback, "hold")
    assert low <= 250.2 - CUT[1] <= high
    assert value == pytest.approx(250.2 - CUT[1], abs=5.0)


def test_a_failback_before_the_line_has_proved_itself_is_held_since_its_first_answer() -> None:
    """A hasty gateway: the hold is short, and known all the same."""
    moves = ((0.0, "fibre"), (103.3, "copper"), (CUT[1] + 4.0, "fibre"))
    told = office({"fibre": fibre(cuts=[CUT]), "copper": copper()}, moves=moves).run(400)
    (failback,) = told.events(EventKind.FAILBACK)
    low, _, high = figure(failback, "hold")
    assert low <= 4.0 <= high


def test_a_failback_to_a_line_that_was_never_down_has_no_hold() -> None:
    """Traffic had left without need: there was nothing to wait for."""
    told = office(moves=((0.0, "fibre"), (103.3, "copper"), (150.2, "fibre"))).run(300)
    (failback,) = told.events(EventKind.FAILBACK)
    assert "away_s" in failback.detail
    assert "hold_s" not in failback.detail


def test_times_away_count_from_the_line_that_traffic_comes_back_to() -> None:
    """A blackout in between does not begin the time anew."""
    ways = {"fibre": fibre(cuts=[(100.1, 300.0)]), "copper": copper(cuts=[(150.0, 200.0)])}
    moves = ((0.0, "fibre"), (103.0, "copper"), (340.0, "fibre"))
    told = office(ways, moves=moves).run(450)
    (failback,) = told.events(EventKind.FAILBACK)
    low, _, high = figure(failback, "away")
    assert low <= 340.0 - 103.0 <= high


@pytest.mark.parametrize("move_s", [112.0, 116.0, 119.0, 121.0, 123.0, 125.0, 127.0])
def test_traffic_that_left_a_line_which_was_told_to_be_impaired_did_not_do_so_needlessly(move_s: float) -> None:
    """The verdict on the switch comes some seconds later, when the impairment may be over."""
    settings = JudgeSettings(window_ns=ns(10), clear_after_ns=ns(5), down_after_ns=ns(5))
    judge = SiteJudge("harbour-lane", UPLINKS, full_questions(), settings)
    ways = {"fibre": fibre(losses=[(100.0, 112.0, 0.5)]), "copper": copper()}
    told = Office(judge, ways, full_questions(), moves=((0.0, "fibre"), (move_s, "copper"))).run(200)
    turns = [(at_s, e.state) for at_s, e in told.effects if isinstance(e, StateChanged) and e.uplink == "fibre"]
    then = [state for at_s, state in turns if at_s <= move_s][-1]
    (moved,) = told.events(EventKind.FAILOVER, EventKind.NEEDLESS_FAILOVER)
    if then is State.IMPAIRED:
        assert (moved.kind, moved.detail["cause"]) == (EventKind.FAILOVER, "line-impaired")
