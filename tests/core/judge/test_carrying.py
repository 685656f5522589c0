"""The carrying machine and its witnesses."""

from tests.fakes.office import line_questions, ns
from wanwatch.core.judge.carrying import ROUTE, Carrying, Phase, Word
from wanwatch.core.judge.egress import Egress
from wanwatch.core.model import UNPINNED, Kind, Outcome, Role, Sample, Series


def machine() -> Carrying:
    """A machine whose servers are asked every 5 s, that already knows the fibre carries."""
    carrying = Carrying()
    carrying.round_ns, carrying.grace_ns = ns(5), ns(2.2)
    for witness, at_s in (("stun-1", 0.0), ("stun-2", 2.5)):
        carrying.hear(witness, word(at_s, "fibre"))
    return carrying


def word(at_s: float, uplink: str | None) -> Word:
    """A word that was asked for then and came 10 ms later."""
    return Word(ns(at_s), ns(at_s + 0.01), uplink)


def test_a_move_is_believed_once_all_witnesses_say_so() -> None:
    """The second server confirms what the first one said."""
    carrying = machine()
    assert carrying.hear("stun-1", word(5.0, "copper")) is None
    assert (carrying.phase, carrying.uplink) == (Phase.MOVING, "fibre")
    change = carrying.hear("stun-2", word(5.2, "copper"))
    assert change is not None
    assert (change.from_uplink, change.to_uplink, change.last_ns) == ("fibre", "copper", ns(2.5))
    assert change.first == word(5.0, "copper")


def test_a_move_is_believed_after_a_grace_if_nobody_contradicts() -> None:
    """A server that fell silent does not hold up the verdict for ever."""
    carrying = machine()
    carrying.hear("stun-1", word(5.0, "copper"))
    assert carrying.due_ns() == ns(7.21)
    assert carrying.advance(ns(7.2)) is None
    assert carrying.advance(ns(7.21)) is not None
    assert carrying.uplink == "copper"


def test_flows_that_are_spread_over_both_lines_are_sharing() -> None:
    """One server is reached through the fibre, the other through copper: no switch; both carry."""
    carrying = machine()
    for at_s in range(5, 40, 5):
        assert carrying.advance(ns(at_s)) is None
        assert carrying.hear("stun-1", word(float(at_s), "copper")) is None
        assert carrying.hear("stun-2", word(at_s + 0.2, "fibre")) is None
    assert carrying.phase is Phase.SHARED
    assert carrying.shares == {"fibre", "copper"}


def test_a_dispute_that_is_settled_in_time_is_no_switch() -> None:
    """The witnesses agree again on what was held before."""
    carrying = machine()
    carrying.hear("stun-1", word(5.0, "copper"))
    carrying.hear("stun-2", word(5.2, "fibre"))
    assert carrying.phase is Phase.DISPUTED
    assert carrying.hear("stun-1", word(5.4, "fibre")) is None
    assert (carrying.phase, carrying.uplink) == (Phase.KNOWN, "fibre")


def test_stun_does_not_outvote_a_route_that_stands() -> None:
    """The route's word holds until it changes, so that a STUN answer against it is a dispute."""
    carrying = Carrying()
    carrying.round_ns, carrying.grace_ns = ns(5), ns(2.2)
    carrying.hear(ROUTE, word(0.0, "fibre"))
    carrying.hear("stun-1", word(100.0, "copper"))
    assert carrying.phase is Phase.DISPUTED
    carrying.advance(ns(110.0))
    assert not carrying.known


def test_what_is_known_first_is_no_change() -> None:
    """Nothing moved: the program only learnt who carries."""
    assert Carrying().hear(ROUTE, word(0.0, "fibre")) is None


def test_what_was_remembered_and_is_another_now_is_a_change_that_nobody_watched() -> None:
    """The switch happened between two runs."""
    change = Carrying(remembers=True, remembered="fibre").hear(ROUTE, word(0.0, "copper"))
    assert change is not None
    assert (change.from_uplink, change.to_uplink, change.watched) == ("fibre", "copper", False)


def stun(uplink: str, at_s: float, address: str | None) -> Sample:
    """A STUN answer that named this address, or none at all."""
    series = Series(uplink, "stun-1", Kind.STUN, Role.EGRESS)
    outcome = Outcome.LOST if address is None else Outcome.ANSWERED
    return Sample(series, ns(at_s), ns(at_s), ns(at_s + 0.01), outcome, facts={"address": address})


def egress() -> Egress:
    """One server, asked over both lines."""
    seen = Egress()
    seen.reconfigure(
        [q for name in ("fibre", "copper") for q in line_questions(name, ("stun-1",), role=Role.EGRESS, kind=Kind.STUN)]
    )
    return seen


def test_an_address_that_one_pinned_answer_shows_names_the_uplink() -> None:
    """Unpinned and pinned answers of one server are compared, once every line was asked."""
    seen = egress()
    assert seen.hear(stun("fibre", 0.0, "192.0.2.10")) is None
    assert seen.hear(stun(UNPINNED, 1.0, "192.0.2.10")) is None
    told = seen.hear(stun("copper", 2.0, "198.51.100.7"))
    assert told is not None
    assert (told.uplink, told.sent_ns) == ("fibre", ns(1.0))


def test_the_last_address_of_a_dead_line_is_kept() -> None:
    """Copper does not answer: an address that is the fibre's is still the fibre's."""
    seen = egress()
    seen.hear(stun("fibre", 0.0, "192.0.2.10"))
    seen.hear(stun("copper", 0.0, None))
    seen.hear(stun("fibre", 1.0, None))
    told = seen.hear(stun(UNPINNED, 2.0, "192.0.2.10"))
    assert told is not None
    assert told.uplink == "fibre"


def test_one_address_for_two_lines_tells_nothing() -> None:
    """Carrier-grade NAT (RFC 6598) may do that."""
    seen = egress()
    seen.hear(stun("fibre", 0.0, "192.0.2.10"))
    seen.hear(stun("copper", 0.0, "192.0.2.10"))
    assert seen.hear(stun(UNPINNED, 1.0, "192.0.2.10")) is None
    assert seen.ambiguous


def test_families_are_compared_each_for_itself() -> None:
    """An IPv6 answer is not weighed against IPv4 ones."""
    seen = egress()
    seen.hear(stun("fibre", 0.0, "192.0.2.10"))
    seen.hear(stun("copper", 0.0, "198.51.100.7"))
    assert seen.hear(stun(UNPINNED, 1.0, "2001:db8::10")) is None
    told = seen.hear(stun("copper", 2.0, "2001:db8::10"))
    assert told is not None
    assert told.uplink == "copper"
