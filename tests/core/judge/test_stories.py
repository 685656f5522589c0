"""Whole stories: a simulated office, and what the judge makes of it against what truly happened."""

from collections.abc import Sequence

import pytest

from tests.fakes.office import FOREVER, Office, Way, full_questions, line_questions, ns, since_start
from wanwatch.core.judge import Memory, SiteJudge
from wanwatch.core.model import (
    Bounds,
    CarryingChanged,
    Domain,
    EventKind,
    JudgeSettings,
    LinkSeen,
    Pace,
    Question,
    Role,
    RouteSeen,
    State,
)

UPLINKS = ("fibre", "copper")
CUT = (100.123, 200.456)
Moves = Sequence[tuple[float, str | None]]
HOME: Moves = ((0.0, "fibre"),)


def fibre(**story: object) -> Way:
    """The preferred line."""
    return Way(**story)  # type: ignore[arg-type]


def copper(**story: object) -> Way:
    """The line behind it: slower, with another public address."""
    return Way(rtt_s=0.03, address="198.51.100.7", **story)  # type: ignore[arg-type]


def office(ways: dict[str, Way] | None = None, questions: list[Question] | None = None, **story: object) -> Office:
    """An office with both lines, asked as by default."""
    asked = full_questions() if questions is None else questions
    memory = story.pop("memory", Memory())
    assert isinstance(memory, Memory)
    judge = SiteJudge("harbour-lane", UPLINKS, asked, JudgeSettings(), memory=memory)
    return Office(judge, ways or {"fibre": fibre(), "copper": copper()}, asked, **story)  # type: ignore[arg-type]


def spread(bounds: Bounds | None) -> tuple[float, float, float]:
    """Earliest, estimate and latest in seconds of the office's clock."""
    assert bounds is not None
    earliest, estimate, latest = bounds.earliest_unix_ns, bounds.estimate_unix_ns, bounds.latest_unix_ns
    assert earliest <= estimate <= latest
    return since_start(earliest), since_start(estimate), since_start(latest)


def holds(bounds: Bounds | None, truth_s: float, width_s: float) -> bool:
    """Whether the truth lies inside the bounds, and these are narrow enough."""
    earliest, _, latest = spread(bounds)
    return earliest <= truth_s <= latest and latest - earliest <= width_s


@pytest.mark.parametrize("cut", [(100.0, 120.0), CUT, (100.5, 160.05), (100.81, 110.9), (101.005, 131.17)])
def test_a_clean_cut_is_one_outage_whose_bounds_hold_the_truth(cut: tuple[float, float]) -> None:
    """Bounds hold the true instants, at most 1.3 s wide at the start and 0.3 s at the end."""
    told = office({"fibre": fibre(cuts=[cut]), "copper": copper()}).run(300)
    (outage,) = told.events(EventKind.OUTAGE)
    assert outage.uplink == "fibre"
    assert holds(outage.start, cut[0], 1.3)
    assert holds(outage.end, cut[1], 0.3)
    assert [change.state for change in told.states("fibre")] == [State.UP, State.DOWN, State.UP]
    assert told.states("fibre")[-1].since_unix_ns == outage.end.estimate_unix_ns if outage.end else False
    assert [change.state for change in told.states("copper")] == [State.UP]


def test_probing_quickens_at_the_first_silence_and_slows_once_settled() -> None:
    """Quick from the first known loss until the line has proved itself, and never on a line that is fine."""
    told = office({"fibre": fibre(cuts=[CUT]), "copper": copper()}).run(300)
    paces = [(round(at_s), e.quick) for at_s, e in told.effects if isinstance(e, Pace) and e.uplink == "fibre"]
    assert paces == [(102, True), (231, False)]
    assert not [e for _, e in told.effects if isinstance(e, Pace) and e.uplink == "copper"]


def test_a_silence_shorter_than_down_after_is_no_outage() -> None:
    """All targets must be silent for `down_after`."""
    told = office({"fibre": fibre(cuts=[(100.0, 103.5)]), "copper": copper()}).run(300)
    assert told.events(EventKind.OUTAGE) == []


def test_a_line_that_falls_silent_again_while_proving_itself_has_one_outage() -> None:
    """Without a majority for `down_after`, recovery starts again, and the end is that of the last recovery."""
    told = office({"fibre": fibre(cuts=[(100.0, 150.0), (160.0, 200.3)]), "copper": copper()}).run(300)
    (outage,) = told.events(EventKind.OUTAGE)
    assert holds(outage.start, 100.0, 1.3)
    assert holds(outage.end, 200.3, 0.3)


def test_one_dead_target_is_not_the_lines_trouble() -> None:
    """One silent target is that target's trouble: no event, no change of state."""
    told = office(dead={"near": [(100.0, 400.0)]}, questions=full_questions()[:22]).run(500)
    assert told.events() == []
    assert [change.state for change in told.states("fibre")] == [State.UP]


def test_one_target_that_answers_again_does_not_bring_a_line_up() -> None:
    """Up again only after a majority has been answering."""
    dead = {"fibre/near": [(100.0, 300.0)], "fibre/mid": [(100.0, 300.0)]}
    told = office({"fibre": fibre(cuts=[(100.0, 200.0)]), "copper": copper()}, dead=dead).run(400)
    (outage,) = told.events(EventKind.OUTAGE)
    assert spread(outage.end)[1] >= 290.0


def test_a_single_target_speaks_for_its_line() -> None:
    """With one target, that target's silence is the line's."""
    questions = line_questions("fibre", ("near",)) + line_questions("copper", ("near",))
    told = office({"fibre": fibre(cuts=[(100.3, 150.45)]), "copper": copper()}, questions=questions).run(250)
    (outage,) = told.events(EventKind.OUTAGE)
    assert holds(outage.start, 100.3, 1.3)
    assert holds(outage.end, 150.45, 0.3)


def test_heavy_loss_is_an_impairment_and_no_outage() -> None:
    """A line that answers but loses 30 % is impaired, from within the window of the onset until a clean window."""
    told = office({"fibre": fibre(losses=[(100.0, 400.0, 0.3)]), "copper": copper()}).run(800)
    (event,) = told.events()
    assert (event.kind, event.uplink) == (EventKind.IMPAIRMENT, "fibre")
    assert spread(event.start)[0] <= 100.0 <= spread(event.start)[2]
    assert 100.0 <= spread(event.start)[1] <= 115.0
    assert spread(event.end)[0] <= 400.0 <= spread(event.end)[2]
    assert event.detail["because"] == ["loss"]
    assert [change.state for change in told.states("fibre")] == [State.UP, State.IMPAIRED, State.UP]


def test_an_impairment_may_have_begun_in_any_window_since_the_last_clean_one() -> None:
    """Slight loss that misses the limit, then heavy loss: the earliest start reaches back to the slight loss."""
    told = office({"fibre": fibre(losses=[(100.0, 140.0, 0.025), (140.0, 400.0, 0.3)]), "copper": copper()}).run(600)
    (event,) = told.events()
    assert spread(event.start)[0] <= 100.0
    assert spread(event.start)[2] >= 140.0


def test_delay_above_the_lines_own_usual_is_an_impairment() -> None:
    """Judged once five windows have shown what is usual; the figures are told."""
    told = office({"fibre": fibre(slow=[(500.0, 700.0, 0.2)]), "copper": copper()}).run(1200)
    (event,) = told.events()
    assert event.detail["because"] == ["delay"]
    assert event.detail["p95_s"] == pytest.approx(0.2105, abs=0.001)
    assert event.detail["usual_s"] == pytest.approx(0.0105, abs=0.001)
    assert spread(event.start)[0] <= 500.0 <= spread(event.start)[2]


def test_one_slow_target_does_not_impair_a_line() -> None:
    """A line is as good as the better half of its targets."""
    told = office(late={"fibre/far": [(500.0, 700.0, 0.3)]}).run(900)
    assert told.events() == []


def test_an_outage_ends_the_impairment_that_it_interrupts() -> None:
    """Down goes before impaired, and the two do not overlap."""
    told = office({"fibre": fibre(losses=[(100.0, 300.0, 0.3)], cuts=[(200.2, 400.0)]), "copper": copper()}).run(500)
    (outage,) = told.events(EventKind.OUTAGE)
    (impaired,) = told.events(EventKind.IMPAIRMENT)
    assert impaired.end is not None
    assert impaired.end == outage.start
    assert impaired.detail["ended_by"] == "outage"


def link(at_ns: int, at_unix_ns: int) -> LinkSeen:
    """The fibre's interface, as it should be."""
    return LinkSeen(at_ns, at_unix_ns, "fibre", carrier=True, address=True, interface="eth1")


def unplugged(at_ns: int, at_unix_ns: int) -> LinkSeen:
    """The fibre's interface without carrier."""
    return LinkSeen(at_ns, at_unix_ns, "fibre", carrier=False, address=True, interface="eth1")


def test_a_dead_gateway_is_named() -> None:
    """Our interface is well and the gateway does not answer: domain gateway, with each rung's evidence."""
    ways = {"fibre": fibre(gateway_cuts=[CUT]), "copper": copper()}
    (outage,) = office(ways, seen=[(0.0, link)]).run(300).events(EventKind.OUTAGE)
    assert outage.domain is Domain.GATEWAY
    rungs = outage.detail["ladder"]
    assert isinstance(rungs, list)
    assert [rung["said"] for rung in rungs if isinstance(rung, dict)] == ["answered", *["silent"] * 4]


def test_a_dead_line_behind_a_gateway_that_answers_is_the_access_line() -> None:
    """The first rung that fails names the domain."""
    told = office({"fibre": fibre(cuts=[CUT]), "copper": copper()}, seen=[(0.0, link)]).run(300)
    assert told.events(EventKind.OUTAGE)[0].domain is Domain.ACCESS_LINE


def test_an_unplugged_interface_is_our_side() -> None:
    """No carrier: nothing farther can be blamed."""
    ways = {"fibre": fibre(gateway_cuts=[CUT]), "copper": copper()}
    told = office(ways, seen=[(0.0, link), (100.2, unplugged)]).run(300)
    assert told.events(EventKind.OUTAGE)[0].domain is Domain.OUR_SIDE


def test_an_unknown_rung_before_the_silent_one_leaves_the_domain_open() -> None:
    """It cannot be told whether the access line or the provider broke, if nobody asked the first hop."""
    questions = [q for q in full_questions() if q.series.role is not Role.FIRST_HOP]
    told = office({"fibre": fibre(cuts=[CUT]), "copper": copper()}, questions).run(300)
    (outage,) = told.events(EventKind.OUTAGE)
    assert outage.domain is None
    assert outage.detail["may_be"] == ["access-line", "provider"]
    assert "first-hop" in str(outage.detail["advice"])


def test_failover_and_failback_are_told_with_their_interruption() -> None:
    """The line died, traffic moved 3.2 s later, and came home without anybody noticing."""
    moves = ((0.0, "fibre"), (103.3, "copper"), (250.2, "fibre"))
    told = office({"fibre": fibre(cuts=[CUT]), "copper": copper()}, moves=moves).run(400)
    failover, failback = told.events(EventKind.FAILOVER, EventKind.FAILBACK)
    assert (failover.kind, failover.from_uplink, failover.to_uplink) == (EventKind.FAILOVER, "fibre", "copper")
    assert failover.interruption_s == pytest.approx(103.3 - CUT[0], abs=0.25)
    assert holds(failover.start, CUT[0], 0.5)
    assert holds(failover.end, 103.3, 0.5)
    assert failover.detail["cause"] == "line-down"
    assert (failback.kind, failback.from_uplink, failback.to_uplink) == (EventKind.FAILBACK, "copper", "fibre")
    assert failback.interruption_s == 0.0
    assert spread(failback.start)[0] <= 250.2 <= spread(failback.start)[2]
    (outage,) = told.events(EventKind.OUTAGE)
    assert outage.interruption_s == failover.interruption_s
    assert told.events(EventKind.NEEDLESS_FAILOVER, EventKind.STUCK_FAILOVER) == []
    known = [CarryingChanged(name, known=True) for name in ("fibre", "copper", "fibre")]
    assert told.carried() == known


@pytest.mark.parametrize("after_s", [0.05, 0.4, 1.0, 2.5])
def test_a_gateway_faster_than_our_own_verdict_makes_a_failover(after_s: float) -> None:
    """Traffic that left a line which turns out to be down did not leave it needlessly."""
    moves = ((0.0, "fibre"), (CUT[0] + after_s, "copper"))
    told = office({"fibre": fibre(cuts=[CUT]), "copper": copper()}, moves=moves).run(180)
    (switch,) = [event for event in told.events() if event.from_uplink is not None]
    assert switch.kind is EventKind.FAILOVER
    assert switch.interruption_s == pytest.approx(after_s, abs=0.25)


def test_traffic_that_leaves_a_line_that_is_up_moved_needlessly() -> None:
    """Nothing was wrong with the fibre."""
    told = office(moves=((0.0, "fibre"), (103.3, "copper"))).run(200)
    (switch,) = told.events()
    assert switch.kind is EventKind.NEEDLESS_FAILOVER
    assert switch.detail["cause"] == "unknown"
    assert switch.interruption_s == 0.0


def test_traffic_that_leaves_an_impaired_line_fails_over() -> None:
    """The line lost too much, even if its impairment was told only later."""
    ways = {"fibre": fibre(losses=[(100.0, 300.0, 0.4)]), "copper": copper()}
    told = office(ways, moves=((0.0, "fibre"), (120.0, "copper"))).run(250)
    (switch,) = [event for event in told.events() if event.from_uplink is not None]
    assert switch.kind is EventKind.FAILOVER
    assert switch.detail["cause"] == "line-impaired"


def test_traffic_that_stays_on_a_dead_line_is_stuck() -> None:
    """30 s after the line died another one is up and nothing moved; it ends when traffic moves."""
    told = office({"fibre": fibre(cuts=[CUT]), "copper": copper()}, moves=((0.0, "fibre"), (170.0, "copper"))).run(300)
    (stuck,) = told.events(EventKind.STUCK_FAILOVER)
    (outage,) = told.events(EventKind.OUTAGE)
    assert stuck.uplink == "fibre"
    assert stuck.start.estimate_unix_ns == outage.start.estimate_unix_ns + 30 * 10**9
    assert spread(stuck.end)[0] <= 170.0 <= spread(stuck.end)[2]
    (failover,) = told.events(EventKind.FAILOVER)
    assert failover.interruption_s == pytest.approx(170.0 - CUT[0], abs=0.25)


def test_no_line_left_is_a_blackout_and_ends_in_a_restoration() -> None:
    """Both lines cut: carrying none, until one answers."""
    ways = {"fibre": fibre(cuts=[(100.1, 300.0)]), "copper": copper(cuts=[(100.1, 180.2)])}
    told = office(ways, moves=((0.0, "fibre"), (180.5, "copper"))).run(400)
    (blackout,) = told.events(EventKind.BLACKOUT)
    (restoration,) = told.events(EventKind.RESTORATION)
    assert (blackout.from_uplink, blackout.to_uplink) == ("fibre", None)
    assert (restoration.from_uplink, restoration.to_uplink) == (None, "copper")
    assert holds(blackout.start, 100.1, 0.5)
    assert holds(blackout.end, 180.5, 0.5)
    assert blackout.end == restoration.start
    for event in (blackout, restoration):
        assert event.interruption_s == pytest.approx(80.4, abs=0.25)
    assert told.events(EventKind.STUCK_FAILOVER) == []


def test_the_route_of_the_kernel_is_believed_at_once() -> None:
    """Where this machine is the router, no STUN server is needed."""
    questions = [q for q in full_questions() if q.series.role is not Role.EGRESS]
    seen = [
        (0.0, lambda at_ns, unix_ns: RouteSeen(at_ns, unix_ns, "fibre")),
        (101.4, lambda at_ns, unix_ns: RouteSeen(at_ns, unix_ns, "copper")),
    ]
    moves = ((0.0, "fibre"), (101.4, "copper"))
    told = office({"fibre": fibre(cuts=[CUT]), "copper": copper()}, questions, seen=seen, moves=moves).run(180)
    (switch,) = told.events(EventKind.FAILOVER)
    assert switch.interruption_s == pytest.approx(101.4 - CUT[0], abs=0.25)


def test_no_default_route_is_a_blackout() -> None:
    """The kernel says that ordinary traffic has nowhere to go, and then that it has."""
    seen = [
        (0.0, lambda at_ns, unix_ns: RouteSeen(at_ns, unix_ns, "fibre")),
        (100.0, lambda at_ns, unix_ns: RouteSeen(at_ns, unix_ns, None)),
        (150.0, lambda at_ns, unix_ns: RouteSeen(at_ns, unix_ns, "fibre")),
    ]
    moves = ((0.0, "fibre"), (100.0, None), (150.0, "fibre"))
    told = office(seen=seen, moves=moves).run(200)
    blackout, restoration = told.events()
    assert (blackout.kind, restoration.kind) == (EventKind.BLACKOUT, EventKind.RESTORATION)
    assert blackout.interruption_s == pytest.approx(50.0, abs=0.25)


def test_witnesses_that_disagree_make_it_unknown() -> None:
    """The route says fibre and STUN says copper, for longer than two rounds of questions: nobody knows."""
    seen = [(0.0, lambda at_ns, unix_ns: RouteSeen(at_ns, unix_ns, "fibre"))]
    told = office(seen=seen, moves=((0.0, "fibre"), (50.0, "copper"))).run(100)
    assert told.carried() == [CarryingChanged("fibre", known=True), CarryingChanged(None, known=False)]
    assert told.events() == []


def test_two_uplinks_with_one_public_address_cannot_be_told_apart() -> None:
    """Carrier-grade NAT (RFC 6598) may show one address for both: carrying stays unknown."""
    told = office({"fibre": fibre(), "copper": Way()}).run(100)
    assert told.carried() == [CarryingChanged(None, known=False)]
    assert not told.judge.carrying.known


def test_names_that_do_not_resolve_are_their_own_failure() -> None:
    """The line answers by address, and no resolver answers."""
    dead = {"fibre/resolver-1": [(100.0, 200.0)], "fibre/resolver-2": [(100.0, 200.0)]}
    told = office(dead=dead).run(300)
    (event,) = told.events()
    assert (event.kind, event.uplink, event.domain) == (EventKind.NAMES_FAILURE, "fibre", Domain.NAMES)
    assert holds(event.start, 100.0, 12.0)
    assert holds(event.end, 200.0, 12.0)


def test_a_line_that_is_down_has_no_names_failure() -> None:
    """An uplink that is down resolves nothing, and that is no failure of the names."""
    told = office({"fibre": fibre(cuts=[(100.0, 250.0)]), "copper": copper()}).run(400)
    assert told.events(EventKind.NAMES_FAILURE) == []


def test_one_resolver_that_answers_is_enough() -> None:
    """One silent resolver is that resolver's trouble."""
    assert office(dead={"resolver-1": [(100.0, 400.0)]}).run(500).events() == []


def test_a_stepped_wall_clock_changes_no_duration() -> None:
    """The step is an event of its own; start and end of the outage both move with the clock."""
    ways = {"fibre": fibre(cuts=[(100.0, 200.0)]), "copper": copper()}
    still = office(ways).run(300).events(EventKind.OUTAGE)[0]
    told = office(ways, wall_steps=[(150.0, 3600.0)]).run(300)
    moved = told.events(EventKind.OUTAGE)[0]
    assert still.end is not None
    assert moved.end is not None
    hour_ns = ns(3600.0)
    assert moved.start.estimate_unix_ns - still.start.estimate_unix_ns == hour_ns
    assert moved.end.estimate_unix_ns - still.end.estimate_unix_ns == hour_ns
    assert moved.id == still.id
    (step,) = told.events(EventKind.CLOCK_STEP)
    assert step.detail["step_s"] == 3600.0


def test_not_being_able_to_ask_is_unobserved_and_never_down() -> None:
    """What could not be measured is a gap: the line is neither up nor down then."""
    told = office({"fibre": fibre(blind=[(100.0, 150.0)]), "copper": copper()}).run(250)
    (event,) = told.events()
    assert (event.kind, event.uplink) == (EventKind.UNOBSERVED, "fibre")
    assert holds(event.start, 100.0, 1.3)
    assert spread(event.end)[1] == pytest.approx(150.0, abs=1.0)
    assert [change.state for change in told.states("fibre")] == [State.UP, State.UNOBSERVED, State.UP]


def test_a_silence_that_could_not_be_followed_is_no_outage() -> None:
    """Two seconds of loss and then no way to ask: unobserved, however long it lasts."""
    told = office({"fibre": fibre(cuts=[(100.0, 102.0)], blind=[(102.0, 150.0)]), "copper": copper()}).run(250)
    assert told.events(EventKind.OUTAGE) == []
    assert [change.state for change in told.states("fibre")] == [State.UP, State.UNOBSERVED, State.UP]


def test_a_dead_target_among_blind_ones_does_not_bring_a_line_down() -> None:
    """A minority that is silent decides nothing while the others cannot be asked."""
    told = office(
        {"fibre": fibre(), "copper": copper()},
        line_questions("fibre", ("near",)) + line_questions("copper"),
        dead={"fibre/near": [(0.0, FOREVER)]},
    )
    questions = line_questions("fibre")
    judge = SiteJudge("harbour-lane", UPLINKS, questions, JudgeSettings())
    told.judge = judge
    told.run(60)  # of three targets only the dead one is ever heard of
    assert told.events(EventKind.OUTAGE) == []
    assert [change.state for change in told.states("fibre")] == []


def test_an_uplink_that_is_never_heard_of_is_told_unobserved() -> None:
    """No evidence from the start: no verdict, and the record says that nobody could look."""
    told = office({"fibre": fibre(blind=[(0.0, FOREVER)]), "copper": copper()}).run(60)
    (event,) = told.events()
    assert (event.kind, event.uplink, event.end) == (EventKind.UNOBSERVED, "fibre", None)


def restarted(ways: dict[str, Way], down_s: tuple[float, float], moves: Moves = HOME) -> tuple[Office, Office]:
    """An office whose daemon stops and starts again; the second one's own clock begins anew at 0."""
    first = office(ways, moves=moves).run(down_s[0])
    first.effects += [(down_s[0], effect) for effect in first.judge.stop(ns(down_s[0]))]
    carrying = first.judge.carrying
    memory = Memory(
        open_events=tuple(event for event in first.events() if event.end is None),
        carrying=carrying.uplink,
        carrying_known=carrying.known,
        last_alive_unix_ns=first.wall_ns(down_s[0]),
    )

    def later(way: Way) -> Way:
        cuts = [(start - down_s[1], end - down_s[1]) for start, end in way.cuts]
        return Way(rtt_s=way.rtt_s, cuts=cuts, address=way.address)

    moved = tuple((at_s - down_s[1], name) for at_s, name in moves)
    again = {name: later(way) for name, way in ways.items()}
    second = office(again, memory=memory, moves=moved, wall_ns0=first.wall_ns(down_s[1]), chance=2)
    return first, second


def test_an_outage_goes_on_over_a_restart() -> None:
    """The same event continues, and the time between is told as unobserved."""
    ways = {"fibre": fibre(cuts=[CUT]), "copper": copper()}
    first, second = restarted(ways, (150.0, 170.0))
    (before,) = first.events(EventKind.OUTAGE)
    second.run(100)
    (after,) = second.events(EventKind.OUTAGE)
    assert after.id == before.id
    assert after.start == before.start
    assert holds(after.end, CUT[1], 0.3)
    assert after.domain is before.domain
    (gap,) = second.events(EventKind.UNOBSERVED)
    assert gap.uplink is None
    assert spread(gap.start)[1] == pytest.approx(150.0)
    assert spread(gap.end)[1] == pytest.approx(170.0)


def test_an_outage_that_ended_while_nobody_watched_says_so() -> None:
    """Its end lies between the last sign of life of the program and the first answer after."""
    first, second = restarted({"fibre": fibre(cuts=[(100.1, 160.0)]), "copper": copper()}, (150.0, 170.0))
    (before,) = first.events(EventKind.OUTAGE)
    second.run(30)
    (after,) = second.events(EventKind.OUTAGE)
    assert after.id == before.id
    assert spread(after.end)[0] == pytest.approx(150.0)
    assert 170.0 <= spread(after.end)[1] <= 171.2
    assert after.detail["end_watched"] is False


def test_a_switch_while_nobody_watched_has_no_interruption() -> None:
    """Traffic was on the fibre before the restart and is on copper after it."""
    ways = {"fibre": fibre(), "copper": copper()}
    _, second = restarted(ways, (150.0, 170.0), moves=((0.0, "fibre"), (160.0, "copper")))
    second.run(60)
    (switch,) = [event for event in second.events() if event.from_uplink is not None]
    assert (switch.from_uplink, switch.to_uplink) == ("fibre", "copper")
    assert switch.kind is EventKind.FAILOVER  # needless would be a claim
    assert switch.interruption_s is None
    assert switch.detail["watched"] is False
    assert spread(switch.start)[0] == pytest.approx(150.0)


def test_a_restart_on_a_quiet_day_tells_only_that_nobody_watched() -> None:
    """First known carrying after a start is no switch."""
    _, second = restarted({"fibre": fibre(), "copper": copper()}, (150.0, 170.0))
    (gap,) = second.run(60).events()
    assert gap.kind is EventKind.UNOBSERVED


def test_a_blackout_that_was_open_before_a_restart_ends() -> None:
    """Both lines were dead when the program stopped, and one answers when it is back."""
    ways = {"fibre": fibre(cuts=[(100.1, 300.0)]), "copper": copper(cuts=[(100.1, 160.0)])}
    first, second = restarted(ways, (150.0, 170.0), moves=((0.0, "fibre"), (160.0, "copper")))
    (before,) = first.events(EventKind.BLACKOUT)
    second.run(60)
    (after,) = second.events(EventKind.BLACKOUT)
    assert (after.id, after.interruption_s) == (before.id, None)
    assert spread(after.end)[0] <= 160.0 <= spread(after.end)[2]
    assert len(second.events(EventKind.RESTORATION)) == 1


def test_a_quiet_hour_with_a_little_chance_loss_has_no_event() -> None:
    """Half a percent of chance loss on both lines is no trouble, and probing stays slow."""
    loss = [(0.0, FOREVER, 0.005)]
    told = office({"fibre": fibre(losses=loss), "copper": copper(losses=loss)}, tick_s=0.5).run(3600)
    assert told.events() == []
    assert not [effect for _, effect in told.effects if isinstance(effect, Pace)]


def test_a_new_configuration_keeps_what_stays() -> None:
    """SIGHUP in the middle of an outage: the outage goes on; an uplink that is gone ends what it had open."""
    told = office({"fibre": fibre(cuts=[CUT]), "copper": copper(cuts=[(100.0, 400.0)])}).run(150)
    left = [q for q in full_questions() if q.series.uplink != "copper"]
    told.effects += [(150.0, effect) for effect in told.judge.reconfigure(("fibre",), left, JudgeSettings())]
    told.run(300)
    by_uplink = {event.uplink: event for event in told.events(EventKind.OUTAGE)}
    assert holds(by_uplink["fibre"].end, CUT[1], 0.3)
    assert by_uplink["copper"].detail["ended_by"] == "configuration"
    assert list(told.judge.states) == ["fibre"]


def test_stopping_closes_nothing() -> None:
    """What is open when the program ends stays open in the record."""
    told = office({"fibre": fibre(cuts=[CUT]), "copper": copper()}).run(150)
    assert told.judge.stop(ns(150.0)) == []
    assert told.events(EventKind.OUTAGE)[0].end is None
