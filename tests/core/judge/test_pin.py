"""Pins: what tells two lines apart, and what follows when a pin no longer holds."""

from collections.abc import Sequence

import pytest

from tests.fakes.office import Office, Way, full_questions, line_questions, since_start
from wanwatch.core.judge import Memory, SiteJudge
from wanwatch.core.judge.pin import TRANSITIONS, Phase, Pins, Same, Shown, Signal, compare, find, from_json, to_json
from wanwatch.core.model import (
    NS_PER_S,
    UNPINNED,
    CarryingChanged,
    Effect,
    EventKind,
    JudgeSettings,
    Kind,
    Observation,
    Outcome,
    PinChanged,
    PinsSeen,
    Question,
    Role,
    Sample,
    Series,
    State,
)
from wanwatch.core.way import Nat
from wanwatch.core.way import Way as Route

UPLINKS = ("fibre", "copper")
FIBRE = Route("10.20.0.11", ("10.20.0.1", "198.51.100.1"), ours=1)
COPPER = Route("10.20.0.12", ("10.20.0.1", "203.0.113.1"), ours=1)
FALLEN = Route("10.20.0.11", ("10.20.0.1", "203.0.113.1"), ours=1)
"""The fibre's pin, which the gateway no longer obeys."""

F = Shown(addresses={"stun-1": "198.51.100.10"}, first_hop="198.51.100.1", distance=2)
C = Shown(addresses={"stun-1": "203.0.113.10"}, first_hop="203.0.113.1", distance=2)
NONE = Shown(addresses={})


def hop(address: str, distance: int = 2) -> Shown:
    return Shown(addresses={}, first_hop=address, distance=distance)


def seen_as(address: str, *, shared: bool = False) -> Shown:
    return Shown(addresses={"stun-1": address}, shared=shared)


def test_every_phase_of_a_pin_has_a_row_for_every_signal() -> None:
    """The machine has no gap, and missing evidence leaves a pin as it was."""
    assert set(TRANSITIONS) == set(Phase)
    for phase, row in TRANSITIONS.items():
        assert set(row) == set(Signal)
        assert row[Signal.NOTHING] is phase
        assert row[Signal.FOREIGN] is Phase.LOST


@pytest.mark.parametrize(
    ("one", "two", "same"),
    [
        (F, C, Same.NO),
        (F, F, Same.YES),
        (F, NONE, Same.UNKNOWN),
        (F, hop("198.51.100.1"), Same.YES),
        (hop("198.51.100.1"), seen_as("203.0.113.10"), Same.UNKNOWN),
        # Two lines of one provider may begin at one access router, and two may show one address of a carrier.
        (Shown(addresses={"stun-1": "192.0.2.10"}, first_hop="198.51.100.1", distance=2), F, Same.NO),
        (seen_as("192.0.2.10", shared=True), seen_as("192.0.2.10", shared=True), Same.UNKNOWN),
        (seen_as("192.0.2.10"), seen_as("192.0.2.10"), Same.YES),
        # A router that is nearest to both may itself be the gateway that sends them different ways.
        (hop("198.51.100.1", 1), hop("198.51.100.1", 1), Same.UNKNOWN),
        (hop("198.51.100.1", 1), hop("203.0.113.1", 1), Same.NO),
    ],
)
def test_two_pins_are_compared_by_address_and_first_hop(one: Shown, two: Shown, same: Same) -> None:
    """One difference tells two lines apart; likeness counts only where it could not be otherwise."""
    assert compare(one, two) is compare(two, one) is same


@pytest.mark.parametrize(
    ("shown", "proofs", "signals"),
    [
        ({"fibre": F, "copper": C}, {}, (Signal.OWN, Signal.OWN)),
        # Both leave by one line, and nobody knows whose it is.
        ({"fibre": F, "copper": F}, {}, (Signal.FOREIGN, Signal.FOREIGN)),
        ({"fibre": C, "copper": C}, {"fibre": F, "copper": C}, (Signal.FOREIGN, Signal.OWN)),
        ({"fibre": C, "copper": NONE}, {"fibre": F, "copper": C}, (Signal.FOREIGN, Signal.NOTHING)),
        # A line that is down shows nothing; the other is still what it was.
        ({"fibre": NONE, "copper": C}, {"fibre": F, "copper": C}, (Signal.NOTHING, Signal.OWN)),
        ({"fibre": NONE, "copper": C}, {}, (Signal.NOTHING, Signal.NOTHING)),
        ({"fibre": F}, {}, (Signal.NOTHING,)),
        # A line got another address: its pin still differs from all others.
        ({"fibre": seen_as("192.0.2.99"), "copper": C}, {"fibre": F, "copper": C}, (Signal.OWN, Signal.OWN)),
        # Two lines begin at one router, and the fibre's pin falls back: the address gives it away.
        (
            {"fibre": C, "copper": C},
            {"fibre": Shown(addresses={"stun-1": "192.0.2.9"}, first_hop="203.0.113.1", distance=2), "copper": C},
            (Signal.FOREIGN, Signal.OWN),
        ),
        # The first hop is the copper's by now, the address was seen before that: no proof, and no loss yet.
        (
            {"fibre": Shown(addresses=F.addresses, first_hop=C.first_hop, distance=2), "copper": C},
            {"fibre": F, "copper": C},
            (Signal.NOTHING, Signal.OWN),
        ),
        # What told them apart was the first hops, which keep silent now.
        (
            {"fibre": seen_as("192.0.2.9"), "copper": seen_as("192.0.2.9")},
            {
                "fibre": Shown(addresses={"stun-1": "192.0.2.9"}, first_hop="198.51.100.1", distance=2),
                "copper": Shown(addresses={"stun-1": "192.0.2.9"}, first_hop="203.0.113.1", distance=2),
            },
            (Signal.NOTHING, Signal.NOTHING),
        ),
    ],
)
def test_a_round_of_evidence_says_whose_line_each_pin_takes(
    shown: dict[str, Shown], proofs: dict[str, Shown], signals: Sequence[Signal]
) -> None:
    """A pin that changed to another's way is foreign; the one that stayed at home is not."""
    assert tuple(found.signal for found in find(shown, proofs).values()) == tuple(signals)


def test_a_proof_survives_being_kept() -> None:
    """What was proved is known again after a restart; what is no proof is not taken for one."""
    assert from_json(to_json(F)) == F
    assert from_json(None) is from_json({"addresses": 3}) is from_json("fibre") is None


def told(effects: Sequence[tuple[float, Effect]], name: str) -> list[bool | None]:
    return [e.proved for _, e in effects if isinstance(e, PinChanged) and e.uplink == name]


def rounds(*told: tuple[float, dict[str, Route]]) -> list[tuple[float, object]]:
    def make(ways: dict[str, Route]) -> object:
        def seen(at_ns: int, at_unix_ns: int) -> Observation:
            return PinsSeen(at_ns, at_unix_ns, ways)

        return seen

    return [(at_s, make(ways)) for at_s, ways in told]


GOOD = {"fibre": FIBRE, "copper": COPPER}
NO_MEMORY = Memory()
BROKEN = {"fibre": FALLEN, "copper": COPPER}


def office(
    seen: list[tuple[float, object]], *, stun: bool = False, memory: Memory = NO_MEMORY, **story: object
) -> Office:
    """An office whose pins are traced at given instants, the addresses of STUN left out unless asked for."""
    asked: list[Question] = [q for q in full_questions() if stun or q.series.role is not Role.EGRESS]
    judge = SiteJudge("harbour-lane", UPLINKS, asked, JudgeSettings(), memory=memory)
    ways = {"fibre": Way(), "copper": Way(rtt_s=0.03, address="198.51.100.7")}
    return Office(judge, ways, asked, seen=seen, **story)  # type: ignore[arg-type]


def test_a_lost_pin_makes_its_uplink_unobserved_until_it_is_proved_again() -> None:
    """Never up: answers that come by another line say nothing of this one."""
    played = office(rounds((5, GOOD), (40, GOOD), (100, BROKEN), (160, BROKEN), (220, GOOD))).run(300)
    (lost,) = played.events(EventKind.PIN_LOST)
    assert lost.uplink == "fibre"
    assert lost.detail["leaves_by"] == "copper"
    assert lost.end is not None
    # It held at 40 s; whatever was heard after that may have come by the other line.
    assert since_start(lost.start.earliest_unix_ns) == since_start(lost.start.estimate_unix_ns) == 40
    assert since_start(lost.start.latest_unix_ns) == 100
    assert since_start(lost.end.estimate_unix_ns) == 220
    assert [change.state for change in played.states("fibre")] == [State.UP, State.UNOBSERVED, State.UP]
    assert since_start(played.states("fibre")[-1].since_unix_ns) >= 220
    assert [change.state for change in played.states("copper")] == [State.UP]
    assert told(played.effects, "fibre") == [True, False, True]
    assert not played.events(EventKind.UNOBSERVED, EventKind.OUTAGE)


def test_an_outage_of_the_other_line_is_not_told_of_an_uplink_whose_pin_is_lost() -> None:
    """While its probes take the copper, a cut of the copper is the copper's alone."""
    seen = rounds((5, GOOD), (50, BROKEN))
    played = office(seen)
    played.ways = {"fibre": Way(cuts=[(100, 150)]), "copper": Way(cuts=[(100, 150)])}
    assert [event.uplink for event in played.run(300).events(EventKind.OUTAGE)] == ["copper"]


def test_two_uplinks_through_one_line_are_both_out_of_sight() -> None:
    """From the start nobody can tell whose line it is that answers."""
    played = office(rounds((5, {"fibre": FALLEN, "copper": COPPER}))).run(60)
    assert sorted(str(event.uplink) for event in played.events(EventKind.PIN_LOST)) == ["copper", "fibre"]
    assert {event.detail["because"] for event in played.events(EventKind.PIN_LOST)} == {"one-line"}
    for name in UPLINKS:
        assert played.states(name)[-1].state is State.UNOBSERVED


def test_without_evidence_nothing_is_held_against_an_uplink() -> None:
    """No STUN server, no hop that answers: the pin cannot be proved, and its line is judged as ever."""
    silent = Route("10.20.0.11", ())
    played = office(rounds((5, {"fibre": silent, "copper": silent}), (50, {}))).run(100)
    assert [change.state for change in played.states("fibre")] == [State.UP]
    assert True not in told(played.effects, "fibre")
    assert False not in told(played.effects, "fibre")
    assert not played.events()


def test_a_line_that_is_down_keeps_its_proof() -> None:
    """A dead line shows nothing; that is no word against its pin."""
    seen = rounds((5, GOOD), (120, {"fibre": Route("10.20.0.11", ("10.20.0.1",), ours=1), "copper": COPPER}))
    played = office(seen)
    played.ways["fibre"] = Way(cuts=[(100, 150)])
    played.run(300)
    assert [change.state for change in played.states("fibre")] == [State.UP, State.DOWN, State.UP]
    assert told(played.effects, "fibre")[-1] is True


def test_a_pin_that_falls_back_to_the_default_route_is_told_as_such() -> None:
    """Its address and hops are those of the carrying uplink, and no longer its own."""
    played = office(rounds((30, GOOD), (100, BROKEN)), stun=True, moves=((0.0, "fibre"), (60.0, "copper")))
    played.run(59)
    assert CarryingChanged("fibre", known=True) in played.carried()
    played.ways["fibre"].address = played.ways["copper"].address  # its probes take the copper from now on
    played.run(110)
    (lost,) = played.events(EventKind.PIN_LOST)
    assert (lost.uplink, lost.detail["leaves_by"]) == ("fibre", "copper")
    earliest_s = since_start(lost.start.earliest_unix_ns)
    assert 50 < earliest_s < 60, "the last STUN answer that showed its own address"
    played.run(140)
    assert played.judge.carrying == CarryingChanged("copper", known=True), "the lost pin's address misleads nobody"


def test_a_pin_that_was_lost_before_a_restart_still_is() -> None:
    """The event goes on, and ends when the pin is proved again."""
    before = office(rounds((5, GOOD), (40, BROKEN))).run(50)
    (lost,) = before.events(EventKind.PIN_LOST)
    memory = Memory(open_events=(lost,), proofs=before.judge.proofs)
    after = office(rounds((80, BROKEN), (120, GOOD)), memory=memory, start_s=60.0).run(200)
    (same,) = after.events(EventKind.PIN_LOST)
    assert (same.id, same.start) == (lost.id, lost.start)
    assert same.end is not None
    assert since_start(same.end.estimate_unix_ns) == 120
    assert [change.state for change in after.states("fibre")] == [State.UP]


def test_a_restart_knows_what_each_pin_showed() -> None:
    """A pin that fell while nobody looked is told from the one that stayed, by what was proved before."""
    proofs = office(rounds((5, GOOD))).run(10).judge.proofs
    after = office(rounds((80, BROKEN)), memory=Memory(proofs=proofs), start_s=60.0).run(90)
    assert [event.uplink for event in after.events(EventKind.PIN_LOST)] == ["fibre"]


def test_an_uplink_that_is_no_longer_configured_takes_its_lost_pin_along() -> None:
    """Nobody is left to prove it."""
    played = office(rounds((5, GOOD), (40, BROKEN))).run(50)
    asked = [q for q in played.questions if q.series.uplink != "fibre"]
    played._take(50, played.judge.reconfigure(["copper"], asked, JudgeSettings()))
    (lost,) = played.events(EventKind.PIN_LOST)
    assert lost.end is not None
    assert lost.detail["ended_by"] == "configuration"


def test_what_translates_addresses_is_told_with_the_pin() -> None:
    """RFC 6598 space on the way is a carrier's translation; two private routers in a row translate twice."""
    shared = Route("10.20.0.11", ("10.20.0.1", "100.64.0.1"), ours=1)
    double = Route("10.20.0.12", ("10.20.0.1", "192.168.1.1", "203.0.113.1"), ours=1)
    played = office(rounds((5, {"fibre": shared, "copper": double}))).run(10)
    assert {pin.uplink: pin.nat for pin in played.judge.pins} == {"fibre": Nat.CARRIER, "copper": Nat.DOUBLE}


PAGE = "http://192.0.2.80/address"
SILENT = {"fibre": Route("10.20.0.11", ()), "copper": Route("10.20.0.12", ())}


def page_questions() -> list[Question]:
    """An office without STUN: the targets, and a page that tells the public address to each pin."""
    asked = [q for q in full_questions() if q.series.role is not Role.EGRESS]
    for name in UPLINKS:
        asked += line_questions(name, (PAGE,), every_s=10.0, role=Role.EGRESS, kind=Kind.HTTP)
    return asked


def test_a_page_s_word_on_the_public_address_proves_pins_and_tells_of_a_lost_one() -> None:
    """Without STUN, and with routers that keep silent, the address that a page tells is evidence as good."""
    asked = page_questions()
    judge = SiteJudge("harbour-lane", UPLINKS, asked, JudgeSettings())
    ways = {"fibre": Way(), "copper": Way(rtt_s=0.03, address="198.51.100.7")}
    played = Office(judge, ways, asked, seen=rounds((30, SILENT), (100, SILENT)))  # type: ignore[arg-type]
    played.run(60)
    assert {pin.uplink: pin.proved for pin in judge.pins} == {"fibre": True, "copper": True}
    played.ways["fibre"].address = "198.51.100.7"
    (lost,) = played.run(110).events(EventKind.PIN_LOST)
    assert (lost.uplink, lost.detail["leaves_by"]) == ("fibre", "copper")
    assert 50 <= since_start(lost.start.earliest_unix_ns) <= 60, "the last word of the page that showed its own address"
    assert not played.carried(), "pins only are asked, so that a page says nothing of who carries"


def heard(at_s: int, uplink: str, address: str, kind: Kind = Kind.HTTP) -> Sample:
    series = Series(uplink, PAGE if kind is Kind.HTTP else "stun-1", kind, Role.EGRESS)
    at_ns = at_s * NS_PER_S
    return Sample(series, at_ns, at_ns, at_ns + 1, Outcome.ANSWERED, 1, facts={"address": address})


def test_an_old_word_of_a_page_does_not_hold_up_a_new_one_of_stun() -> None:
    """A page is asked rarely; where STUN tells of every pin, it alone counts."""
    pins = Pins()
    stun = [q for name in UPLINKS for q in line_questions(name, ("stun-1",), role=Role.EGRESS, kind=Kind.STUN)]
    page = [q for q in page_questions() if q.series.kind is Kind.HTTP]
    pins.reconfigure(UPLINKS, [*stun, *page])
    for kind in (Kind.HTTP, Kind.STUN):
        pins.hear(heard(1, "fibre", "198.51.100.10", kind))
        pins.hear(heard(1, "copper", "203.0.113.10", kind))
    pins.see(PinsSeen(2 * NS_PER_S, 0, {}))
    assert {name: held.phase for name, held in pins.verdicts.items()} == dict.fromkeys(UPLINKS, Phase.PROVED)
    for name in UPLINKS:  # the fibre's pin takes the copper from now on
        pins.hear(heard(5, name, "203.0.113.10", Kind.STUN))
    assert pins.see(PinsSeen(6 * NS_PER_S, 0, {})) == ["fibre"]
    assert pins.verdicts["fibre"].phase is Phase.LOST


def test_a_page_fills_in_where_stun_is_silent_over_one_line() -> None:
    """A line that lets no UDP through can still be told from the others."""
    pins = Pins()
    stun = line_questions("fibre", ("stun-1",), role=Role.EGRESS, kind=Kind.STUN)
    pins.reconfigure(UPLINKS, [*stun, *(q for q in page_questions() if q.series.kind is Kind.HTTP)])
    pins.hear(heard(1, "fibre", "198.51.100.10", Kind.STUN))
    pins.hear(heard(1, "fibre", "198.51.100.10"))
    pins.hear(heard(1, "copper", "203.0.113.10"))
    pins.hear(heard(1, UNPINNED, "203.0.113.10"))
    pins.see(PinsSeen(2 * NS_PER_S, 0, {}))
    assert {name: held.phase for name, held in pins.verdicts.items()} == dict.fromkeys(UPLINKS, Phase.PROVED)
    pins.see(PinsSeen(60 * NS_PER_S, 0, {}))
    assert not any(held.shown for held in pins.verdicts.values()), "three rounds later the words are old"


def test_a_pin_is_known_to_hold_no_later_than_its_evidence() -> None:
    """An address that was heard before the round says nothing of the time since; a first hop is as new as the round."""
    pins = Pins()
    pins.reconfigure(UPLINKS, [q for q in page_questions() if q.series.kind is Kind.HTTP])
    pins.hear(heard(1, "fibre", "198.51.100.10"))
    pins.hear(heard(3, "copper", "203.0.113.10"))
    for at_s in (5, 20):
        pins.see(PinsSeen(at_s * NS_PER_S, 0, SILENT))
        assert pins.own_ns == {"fibre": 1 * NS_PER_S, "copper": 3 * NS_PER_S}
    pins.see(PinsSeen(25 * NS_PER_S, 0, GOOD))
    assert pins.own_ns == dict.fromkeys(UPLINKS, 25 * NS_PER_S)
