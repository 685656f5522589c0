"""Where an outage broke, as far as the other lines of the site help to tell; no published source, but common sense."""

from collections.abc import Callable, Sequence
from dataclasses import replace

import pytest

from tests.core.judge.test_stories import copper, fibre, office
from tests.fakes.office import Office, Way, full_questions, line_questions, ns
from wanwatch.core.judge import SiteJudge
from wanwatch.core.model import Domain, Event, EventKind, JudgeSettings, LinkSeen, Observation, Question, Role

CUT = (100.123, 150.456)
TARGETS = ("near", "mid", "far")


def link(at_ns: int, at_unix_ns: int, uplink: str = "fibre", **wrong: bool) -> LinkSeen:
    """An uplink's interface, as it should be but for what is *wrong*."""
    said = [wrong.get(word, True) for word in ("carrier", "address", "enabled")]
    return LinkSeen(at_ns, at_unix_ns, uplink, said[0], said[1], f"{uplink}0", said[2])


LINKS: Sequence[tuple[float, Callable[[int, int], Observation]]] = (
    (0.0, link),
    (0.0, lambda at_ns, at_unix_ns: link(at_ns, at_unix_ns, "copper")),
)


def gateways_apart() -> list[Question]:
    """What is asked where each line has a gateway of its own."""
    questions = []
    for question in full_questions():
        own = question.series.uplink == "copper" and question.series.role is Role.GATEWAY
        questions.append(replace(question, address="192.0.2.2") if own else question)
    return questions


def outages(told: Office) -> dict[str, Event]:
    """The outage of each line."""
    found = told.events(EventKind.OUTAGE)
    assert len({event.uplink for event in found}) == len(found)
    return {event.uplink or "": event for event in found}


def both(cut: tuple[float, float] = CUT, **how: object) -> dict[str, Way]:
    """Both lines are cut at once."""
    return {"fibre": fibre(cuts=[cut], **how), "copper": copper(cuts=[cut], **how)}


@pytest.mark.parametrize("start_s", [100.0, 100.123, 100.41, 100.77, 100.999])
def test_two_lines_that_fall_silent_at_once_are_ours_or_the_power(start_s: float) -> None:
    """Their ladders name each line, and both at one instant is no accident; what the ladders say is kept."""
    told = outages(office(both((start_s, 150.0)), seen=[(0.0, link)]).run(300))
    assert {uplink: event.domain for uplink, event in told.items()} == dict.fromkeys(
        ("fibre", "copper"), Domain.OUR_SIDE
    )
    assert all(event.detail["at_once"] == ["copper", "fibre"] for event in told.values())
    assert told["fibre"].detail["ladder_says"] == "access-line"


def test_no_line_is_blamed_before_it_is_known_that_both_fell() -> None:
    """A provider is never named first and cleared afterwards."""
    told = office(both(), seen=[(0.0, link)]).run(300)
    domains = [e.event.domain for _, e in told.effects if hasattr(e, "event") and e.event.kind is EventKind.OUTAGE]
    assert set(domains) <= {None, Domain.OUR_SIDE}


def test_lines_that_fall_one_after_the_other_are_each_judged_by_its_own_ladder() -> None:
    """Bounds that do not overlap are two instants."""
    ways = {"fibre": fibre(cuts=[(100.0, 160.0)]), "copper": copper(cuts=[(103.0, 160.0)])}
    told = outages(office(ways, seen=[(0.0, link)]).run(300))
    assert told["fibre"].domain is told["copper"].domain is Domain.ACCESS_LINE
    assert "at_once" not in {*told["fibre"].detail, *told["copper"].detail}


def test_a_line_that_was_down_before_has_no_say() -> None:
    """Fibre dies while copper is down already: nothing fell at once."""
    ways = {"fibre": fibre(cuts=[(100.0, 160.0)]), "copper": copper(cuts=[(50.0, 200.0)])}
    assert outages(office(ways, seen=[(0.0, link)]).run(300))["fibre"].domain is Domain.ACCESS_LINE


def test_one_gateway_of_both_lines_is_to_blame_itself() -> None:
    """What both share is known, and it does not answer."""
    ways = {"fibre": fibre(gateway_cuts=[CUT]), "copper": copper(gateway_cuts=[CUT])}
    told = outages(office(ways, seen=LINKS).run(300))
    assert told["fibre"].domain is told["copper"].domain is Domain.GATEWAY


@pytest.mark.parametrize("last", ["fibre", "copper"])
def test_a_rung_that_speaks_after_both_lines_fell_is_heard_on_either_ladder(last: str) -> None:
    """With a quick verdict the last rung has its word later; no line is judged by an old look at the other one."""
    questions = [
        replace(question, timeout_ns=ns(5)) if question.series[::3] == (last, Role.GATEWAY) else question
        for question in full_questions()
    ]
    ways = {"fibre": fibre(gateway_cuts=[(20.0, 30.0)]), "copper": copper(gateway_cuts=[(20.0, 30.0)])}
    judge = SiteJudge("harbour-lane", ("fibre", "copper"), questions, JudgeSettings(down_after_ns=ns(1)))
    told = outages(Office(judge, ways, questions, seen=LINKS).run(60))
    assert told["fibre"].domain is told["copper"].domain is Domain.GATEWAY


def test_two_gateways_that_fall_silent_at_once_are_the_power() -> None:
    """Two boxes do not die at one instant by themselves."""
    ways = {"fibre": fibre(gateway_cuts=[CUT]), "copper": copper(gateway_cuts=[CUT])}
    told = outages(office(ways, gateways_apart(), seen=LINKS).run(300))
    assert told["fibre"].domain is told["copper"].domain is Domain.OUR_SIDE


def test_both_lines_silent_only_beyond_their_first_hops_is_not_ours() -> None:
    """Routers outside of the building answered: we and our power are well."""
    dead = {target: [CUT] for target in TARGETS}
    told = outages(office(dead=dead, questions=_without_unpinned(), seen=[(0.0, link)]).run(300))
    assert {event.domain for event in told.values()} == {Domain.FAR_END}


def test_one_far_end_of_both_lines_and_nothing_known_in_between_is_not_told_from_ours() -> None:
    """With a single target and no rungs, its silence on both lines has two possible causes."""
    questions = line_questions("fibre", ("near",)) + line_questions("copper", ("near",))
    told = outages(office(both(), questions, seen=[(0.0, link)]).run(300))
    assert told["fibre"].domain is told["copper"].domain is None
    assert told["fibre"].detail["may_be"] == ["our-side", "far-end"]


def test_far_ends_that_answer_over_the_other_line_clear_themselves() -> None:
    """First hop and resolver answer over the fibre, no target does, and all of them do over copper."""
    dead = {f"fibre/{target}": [CUT] for target in TARGETS}
    told = outages(office(dead=dead, seen=[(0.0, link)]).run(300))
    assert told["fibre"].domain is Domain.PROVIDER
    assert told["fibre"].detail["far_ends_answer_over"] == ["copper"]


def test_advice_names_only_the_keys_that_would_have_told() -> None:
    """The gateway answered and the targets did not; the resolver would help, and so would the first hop."""
    questions = [q for q in full_questions() if q.series.role not in (Role.FIRST_HOP, Role.NAMES)]
    ways = {"fibre": fibre(cuts=[CUT]), "copper": copper()}
    (outage,) = office(ways, questions, seen=[(0.0, link)]).run(300).events(EventKind.OUTAGE)
    assert outage.domain is None
    assert outage.detail["may_be"] == ["access-line", "provider"]
    assert outage.detail["advice"] == (
        "cannot tell: nothing is known of first-hop, resolver; configure first_hop, resolvers (and [names]) for this "
        "uplink, with addresses that answer while it is up"
    )


@pytest.mark.parametrize(
    ("wrong", "because"),
    [
        ({"carrier": False}, "no-carrier"),
        ({"carrier": False, "enabled": False}, "set-down"),
        ({"address": False}, "no-address"),
    ],
)
def test_what_is_wrong_with_our_interface_is_told(wrong: dict[str, bool], because: str) -> None:
    """A cable that is out, an interface that was set down, and an address that is gone are mended in different ways."""
    seen = [(0.0, link), (100.2, lambda at, unix: link(at, unix, "fibre", **wrong))]
    told = outages(office({"fibre": fibre(gateway_cuts=[CUT]), "copper": copper()}, seen=seen).run(300))
    assert told["fibre"].domain is Domain.OUR_SIDE
    rungs = told["fibre"].detail["ladder"]
    assert isinstance(rungs, list)
    assert isinstance(rungs[0], dict)
    assert rungs[0]["because"] == because


def _without_unpinned() -> list[Question]:
    return [question for question in full_questions() if question.series.uplink in ("fibre", "copper")]


@pytest.mark.parametrize("tenth", range(5))
def test_a_line_that_comes_back_is_not_blamed_on_what_lies_beyond_its_first_hop(tenth: int) -> None:
    """The gateway is not asked, so there is no domain; at its end the first hop answers before the targets do."""
    questions = [q for q in full_questions() if q.series.role not in (Role.GATEWAY, Role.NAMES)]
    late = {f"fibre/{target}": [(0.0, 300.0, 0.3)] for target in TARGETS}
    ways = {"fibre": fibre(cuts=[(100.123, 150.0 + tenth * 0.1)]), "copper": copper()}
    told = outages(office(ways, questions, late=late, seen=[(0.0, link)]).run(250))
    assert told["fibre"].domain is None
    assert told["fibre"].detail["may_be"] == ["gateway", "access-line"]


@pytest.mark.parametrize("chance", range(4))
def test_chance_losses_of_a_rung_do_not_hold_up_the_naming(chance: int) -> None:
    """The gateway loses every twentieth probe like all the rest, and the outage is as short as one can be."""
    ways = {"fibre": fibre(cuts=[(100.1, 106.5)], losses=[(90.0, 150.0, 0.05)]), "copper": copper()}
    told = outages(office(ways, seen=[(0.0, link)], chance=chance).run(200))
    assert told["fibre"].domain is Domain.ACCESS_LINE
