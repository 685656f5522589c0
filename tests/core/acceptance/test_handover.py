"""What an installer hands over, judged."""

import json
from dataclasses import replace

import pytest

from wanwatch.core.acceptance import About, Handover, Item, Photograph, Verdict
from wanwatch.core.acceptance.handover import judge

PASS, FAIL, OPEN = Verdict.PASS, Verdict.FAIL, Verdict.NOT_DECIDED
GIVEN = Handover(
    medium="fibre", circuit="EX-0001-DROP", public_address=True, port_bps=10**9, duplex="full", light_dbm=-17.0,
    wavelength_nm=1490, light_class="B+", length_m=350.0, splices=2, connectors=2, split=32, cable="G.657.A2",
    bend_radius_mm=15.0, photographs=(Photograph("terminal.jpg", 3, "00" * 32),),
)  # fmt: skip


def item(about: About, given: Handover) -> Item:
    """The one item about something."""
    (found,) = (one for one in judge(given) if one.about is about)
    return found


def test_a_whole_handover_of_a_good_fibre_passes() -> None:
    """Nothing is missing, and nothing is out of its limits."""
    assert [one.verdict for one in judge(GIVEN)] == [PASS] * 7


@pytest.mark.parametrize(
    ("dbm", "b_plus", "c_plus"),
    [
        (-20.0, PASS, PASS),
        (-27.0, PASS, PASS),
        (-27.1, FAIL, PASS),
        (-30.1, FAIL, FAIL),
        (-7.9, FAIL, FAIL),
        (-8.0, PASS, PASS),
    ],
)
def test_the_level_is_held_to_the_receiver_of_its_class(dbm: float, b_plus: Verdict, c_plus: Verdict) -> None:
    """ITU-T G.984.2: -27 to -8 dBm for class B+, -30 to -8 dBm for C+; both limits still belong to what is well."""
    for name, verdict in (("B+", b_plus), ("C+", c_plus)):
        assert item(About.LIGHT, replace(GIVEN, light_dbm=dbm, light_class=name)).verdict is verdict


def test_a_class_that_nobody_named_is_told_as_taken() -> None:
    """The certificate says on what its limit rests."""
    found = item(About.LIGHT, replace(GIVEN, light_class=None))
    assert (found.verdict, found.source) == (PASS, "ITU-T G.984.2, class B+ (none was named)")


@pytest.mark.parametrize("wavelength_nm", [None, 1310, 1577])
def test_a_level_at_another_wavelength_or_at_none_is_not_judged(wavelength_nm: int | None) -> None:
    """G.984.2: downstream light is from 1480 to 1500 nm, and a meter is calibrated by wavelength."""
    assert item(About.LIGHT, replace(GIVEN, wavelength_nm=wavelength_nm)).verdict is OPEN


def test_the_whole_ways_budget_gives_the_range_that_may_arrive() -> None:
    """From 1.5 dBm less 0.14 + 1.5 + 0.6 + 17.5515 dB, the most that its parts may lose (ITU-T G.984.2)."""
    found = item(About.LIGHT_BUDGET, GIVEN)
    low = 1.5 - (0.35 * 0.4 + 2 * 0.75 + 2 * 0.3 + 10 * 1.505149978 + 5 * 0.5)
    assert found.values["low_dbm"] == pytest.approx(low, abs=1e-5)
    assert item(About.LIGHT_BUDGET, replace(GIVEN, light_dbm=low - 0.01)).verdict is FAIL
    assert item(About.LIGHT_BUDGET, replace(GIVEN, light_dbm=-10.0)).verdict is OPEN  # more than it can be


def test_the_drops_own_loss_is_held_to_the_most_that_its_parts_may_lose() -> None:
    """10 km at 0.4 dB/km, two pairs at 0.75 dB, four splices at 0.3 dB: 6.7 dB (G.652, TIA-568)."""
    drop = replace(GIVEN, light_dbm=-20.0, entering_dbm=-13.3, length_m=10_000.0, splices=4, split=None)
    assert item(About.LIGHT_BUDGET, drop).limit == "at most 6.70 dB"
    assert item(About.LIGHT_BUDGET, drop).verdict is PASS
    assert item(About.LIGHT_BUDGET, replace(drop, light_dbm=-20.01)).verdict is FAIL
    assert item(About.LIGHT_BUDGET, replace(drop, light_dbm=-12.0)).verdict is OPEN  # light does not grow


@pytest.mark.parametrize("key", ["length_m", "splices", "connectors", "split", "light_dbm"])
def test_a_budget_is_not_reckoned_without_what_it_rests_on(key: str) -> None:
    """Nothing is taken for none."""
    assert item(About.LIGHT_BUDGET, Handover.from_json({**GIVEN.to_json(), key: None})).verdict is OPEN


@pytest.mark.parametrize(
    ("cable", "least_mm"), [("G.652", 30), ("G.657.A1", 10), ("G.657.A2", 7.5), ("G.657.B2", 7.5), ("G.657.B3", 5)]
)
def test_the_tightest_bend_is_held_to_the_cables_own_limit(cable: str, least_mm: float) -> None:
    """ITU-T G.652 and G.657: a larger radius is kinder."""
    assert item(About.BEND_RADIUS, replace(GIVEN, cable=cable, bend_radius_mm=least_mm)).verdict is PASS
    assert item(About.BEND_RADIUS, replace(GIVEN, cable=cable, bend_radius_mm=least_mm - 0.1)).verdict is FAIL
    assert item(About.BEND_RADIUS, replace(GIVEN, cable="an old one")).verdict is OPEN


def test_what_was_not_handed_over_is_not_decided_and_copper_is_not_asked_for_light() -> None:
    """Nobody said anything: nothing passes. On copper there is no light to be judged."""
    assert {one.verdict for one in judge(Handover())} == {OPEN}
    assert [one.about for one in judge(Handover(medium="copper"))] == [About.CIRCUIT, About.CABLE, About.PHOTOGRAPHS]


def test_a_handover_comes_back_from_json_as_it_was() -> None:
    """It is kept with the test that it belongs to."""
    assert Handover.from_json(json.loads(json.dumps(GIVEN.to_json()))) == GIVEN
    with pytest.raises(TypeError):
        Handover.from_json({"colour": "red"})
