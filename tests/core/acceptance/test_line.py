"""The line itself, judged from what one look showed."""

from dataclasses import replace
from fractions import Fraction

import pytest

from wanwatch.core.acceptance import Handover, Item, Limit, Verdict, line
from wanwatch.core.acceptance.limits import CONFIGURED, ETHERNET_MTU, PPPOE_MTU
from wanwatch.core.acceptance.line import LineSeen, MtuSeen, PortSeen
from wanwatch.core.resolving import NOERROR, NXDOMAIN, SERVFAIL, NamesAnswer, Purpose
from wanwatch.core.way import Nat

PASS, FAIL, OPEN = Verdict.PASS, Verdict.FAIL, Verdict.NOT_DECIDED
SEEN = LineSeen(proved=True, nat=Nat.ONCE, source="10.20.0.11", public="198.51.100.10", hops=("10.20.0.1", None))
NOBODY = Handover()
GIGABIT = 10**9


def test_a_pin_that_leaves_by_another_line_fails_and_names_it() -> None:
    """Whatever is measured then is of that other line."""
    item = line.pin(replace(SEEN, proved=False, leaves_by="copper"))
    assert (item.verdict, item.reason) == (FAIL, "Its probes leave by copper.")


def test_a_pin_of_which_nothing_tells_is_not_decided() -> None:
    """What was not seen is never a pass."""
    assert line.pin(replace(SEEN, proved=None)).verdict is OPEN


def test_a_lone_line_needs_no_other_to_be_told_from_but_has_to_show_itself() -> None:
    """With one uplink there is no other line that its probes could leave by."""
    assert line.pin(replace(SEEN, proved=None, alone=True)).verdict is PASS
    assert line.pin(LineSeen(proved=None, alone=True)).verdict is OPEN


@pytest.mark.parametrize(
    ("nat", "agreed", "verdict"),
    [
        (Nat.NONE, None, PASS),
        (Nat.ONCE, True, PASS),
        (Nat.DOUBLE, None, OPEN),
        (Nat.CARRIER, None, OPEN),
        (Nat.CARRIER, True, FAIL),
        (Nat.CARRIER, False, PASS),
        (Nat.UNKNOWN, True, OPEN),
    ],
)
def test_a_shared_address_fails_only_where_one_of_its_own_was_agreed(
    nat: Nat, *, agreed: bool | None, verdict: Verdict
) -> None:
    """RFC 6598: providers may translate for many; whether this one may, only the contract says."""
    assert line.address(replace(SEEN, nat=nat), Handover(public_address=agreed)).verdict is verdict


def test_an_address_that_nobody_saw_is_not_decided() -> None:
    """No word from outside is no evidence."""
    unseen = line.address(replace(SEEN, public=None), Handover(public_address=True))
    assert (unseen.verdict, unseen.reason) == (OPEN, "Nobody outside told by which address the line is seen.")


def test_an_address_that_was_seen_is_not_called_unseen_where_routers_were_not() -> None:
    """Without the right to trace, only the translation stays open."""
    open_ = line.address(replace(SEEN, nat=Nat.UNKNOWN, source=None, hops=()), Handover(public_address=True))
    assert (open_.verdict, open_.reason) == (OPEN, "The first routers, which show who translates it, were not seen.")


@pytest.mark.parametrize(
    ("answered", "asked", "beyond", "verdict"),
    [(5, 5, True, PASS), (1, 5, False, PASS), (0, 5, False, FAIL), (0, 5, True, OPEN), (0, 0, False, OPEN)],
)
def test_a_gateway_that_ignores_echo_is_not_blamed_while_what_is_behind_it_answers(
    answered: int, asked: int, *, beyond: bool, verdict: Verdict
) -> None:
    """RFC 1122 section 3.2.2.6 asks every host to answer; many gateways do not, and carry all the same."""
    assert line.gateway("10.20.0.1", answered, asked, beyond=beyond).verdict is verdict


def test_a_gateway_that_is_not_known_is_not_decided() -> None:
    """There is nobody to ask."""
    assert line.gateway(None, 0, 0, beyond=True).verdict is OPEN


def said(item: Item) -> tuple[Verdict, str]:
    """Verdict and value."""
    return item.verdict, item.value


def test_the_kernels_word_on_the_port_counts_where_the_line_ends_there() -> None:
    """Rate and duplex as IEEE 802.3 has them: half duplex and a slow port fail."""
    port = PortSeen("wan0", GIGABIT, "full", ends_here=True)
    assert said(line.port(port, NOBODY, GIGABIT)) == (PASS, "1000 Mbit/s, full duplex, on wan0")
    assert line.port(PortSeen("wan0", GIGABIT // 10, "full", ends_here=True), NOBODY, GIGABIT).verdict is FAIL
    assert line.port(PortSeen("wan0", GIGABIT, "half", ends_here=True), NOBODY, GIGABIT).verdict is FAIL
    assert line.port(PortSeen("wan0", GIGABIT, None, ends_here=True), NOBODY, GIGABIT).verdict is OPEN
    assert line.port(PortSeen("wan0", GIGABIT, "full", ends_here=True), NOBODY, None).verdict is OPEN


def test_a_port_behind_which_a_gateway_stands_says_nothing_of_the_handoff() -> None:
    """This machine's own port is not the line's; what was read off the gateway is."""
    own = PortSeen("lan0", GIGABIT, "full", ends_here=False)
    assert line.port(own, NOBODY, GIGABIT).verdict is OPEN
    handed = Handover(port_bps=GIGABIT // 10, duplex="full")
    assert said(line.port(own, handed, GIGABIT)) == (FAIL, "100 Mbit/s, full duplex, as handed over")
    assert line.port(None, Handover(port_bps=GIGABIT, duplex="full"), GIGABIT).verdict is PASS


@pytest.mark.parametrize(
    ("size", "limit", "verdict"),
    [
        (1500, ETHERNET_MTU, PASS),  # IEEE 802.3: 1500 bytes of payload
        (1492, ETHERNET_MTU, FAIL),
        (1492, PPPOE_MTU, PASS),  # RFC 2516 section 7
        (1491, PPPOE_MTU, FAIL),
        (1492, Limit(Fraction(1500), CONFIGURED), FAIL),  # RFC 4638 was agreed
    ],
)
def test_the_path_has_to_carry_what_was_agreed(size: int, limit: Limit, verdict: Verdict) -> None:
    """One byte less is not it."""
    (item,) = line.mtu([MtuSeen(4, size)], limit)
    assert (item.of, item.verdict, item.figure) == ("IPv4", verdict, size)


def test_a_black_hole_fails_though_its_size_would_do() -> None:
    """RFC 2923 section 2.1: transfers hang where nobody says that a packet is too big."""
    (item,) = line.mtu([MtuSeen(6, 1500, black_hole=True)], ETHERNET_MTU)
    assert item.verdict is FAIL


def test_an_mtu_that_was_not_measured_is_not_decided_with_its_reason() -> None:
    """No answer is no size."""
    (item,) = line.mtu([MtuSeen(4, None, why="raw sockets are not permitted")], ETHERNET_MTU)
    assert (item.verdict, item.reason) == (OPEN, "raw sockets are not permitted.")
    (item,) = line.mtu([], ETHERNET_MTU)
    assert item.verdict is OPEN


def answers(*rcodes: tuple[Purpose, str | None, bool]) -> list[NamesAnswer]:
    """What one resolver said; an address where the last word of a row is true."""
    return [
        NamesAnswer("fibre", "192.0.2.53", purpose, "name.", rcode, ("192.0.2.7",) if found else (), authentic=found)
        for purpose, rcode, found in rcodes
    ]


def verdicts(*rcodes: tuple[Purpose, str | None, bool]) -> list[Verdict]:
    """The verdicts on answering, rewriting and validating."""
    return [item.verdict for item in line.resolvers(["192.0.2.53"], answers(*rcodes))]


KNOWN = (Purpose.KNOWN, NOERROR, True)


def test_a_sound_resolver_passes_all_three() -> None:
    """RFC 6761 section 6.4, RFC 4035 section 5.5: no such name, and no word on what does not validate."""
    sound = ((Purpose.ABSENT, NXDOMAIN, False), (Purpose.SIGNED, NOERROR, True), (Purpose.BROKEN, SERVFAIL, False))
    assert verdicts(KNOWN, *sound) == [PASS, PASS, PASS]


def test_a_resolver_that_invents_addresses_or_resolves_broken_names_fails() -> None:
    """Each by its own item."""
    invents = ((Purpose.ABSENT, NOERROR, True), (Purpose.SIGNED, NOERROR, True), (Purpose.BROKEN, NOERROR, True))
    assert verdicts(KNOWN, *invents) == [PASS, FAIL, FAIL]


def test_a_word_that_came_outweighs_one_that_was_lost_in_another_round() -> None:
    """Three rounds are asked, since a lost datagram is no opinion."""
    rounds = (
        (Purpose.ABSENT, NXDOMAIN, False), (Purpose.SIGNED, NOERROR, True), (Purpose.BROKEN, SERVFAIL, False),
        (Purpose.SIGNED, None, False), (Purpose.BROKEN, None, False),
    )  # fmt: skip
    assert verdicts(KNOWN, *rounds) == [PASS, PASS, PASS]


def test_a_silent_resolver_fails_and_a_patchy_one_is_not_decided() -> None:
    """Of a silent one nothing else can be said."""
    assert verdicts((Purpose.KNOWN, None, False)) == [FAIL]
    assert verdicts(KNOWN, (Purpose.KNOWN, None, False))[0] is OPEN
    assert [item.verdict for item in line.resolvers([], [])] == [OPEN]
    assert verdicts() == [OPEN]
