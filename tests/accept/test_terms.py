"""What a line is held to, as its configuration has it."""

from fractions import Fraction
from typing import Any

import pytest

from wanwatch.accept.terms import terms_of
from wanwatch.config.uplink import Uplink
from wanwatch.core.acceptance.limits import ETHERNET_MTU, PPPOE_MTU, DelayTerm, Limit


def uplink(handoff: dict[str, Any] | None = None, *clauses: dict[str, Any], **contract: Any) -> Uplink:
    """A line with this handoff and these promises."""
    promised = {"provider": "Example Fibre", "clause": clauses, **contract}
    written = {"name": "fibre", "pin": {"interface": "eth1"}, "contract": promised}
    return Uplink.model_validate(written | ({} if handoff is None else {"handoff": handoff}))


@pytest.mark.parametrize(
    ("handoff", "limit"),
    [
        (None, ETHERNET_MTU),
        ({"encapsulation": "pppoe"}, PPPOE_MTU),
        ({"encapsulation": "pppoe", "mtu": 1500}, Limit(Fraction(1500), "handoff, as configured")),
    ],
)
def test_the_mtu_is_the_configured_one_else_that_of_the_encapsulation(
    handoff: dict[str, Any] | None, limit: Limit
) -> None:
    """RFC 2516 section 7: 1492 bytes in PPPoE, unless RFC 4638 was agreed; IEEE 802.3: 1500 bytes."""
    assert terms_of(uplink(handoff)).mtu == limit


def test_clauses_without_hours_are_the_terms() -> None:
    """A promise for some hours says nothing of the hour of the test."""
    evening = {"hours": "20:00-22:00"}
    terms = terms_of(
        uplink(
            None,
            {"measure": "delay", "target": "near", "statistic": "p99", "at_most": "15ms"},
            {"measure": "delay", "target": "far", "statistic": "mean", "at_most": "20ms"},
            {"measure": "delay", "target": "other", "statistic": "p95", "at_most": "1ms", **evening},
            {"measure": "delay-variation", "target": "other", "statistic": "p95", "at_most": "1ms"},
            {"measure": "loss", "at_most": "0.5%"},
            {"measure": "failover", "at_most": "30s"},
        )
    )
    assert terms.delays == {
        "near": DelayTerm(limit=Limit(Fraction(15, 1000), "contract"), share=Fraction(99, 100)),
        "far": DelayTerm(limit=Limit(Fraction(20, 1000), "contract"), share=None),
    }
    assert terms.losses == {None: Limit(Fraction(1, 200), "contract")}
    assert terms.failover == Limit(Fraction(30), "contract")


def test_a_floor_with_its_share_comes_before_the_usual_and_the_tier() -> None:
    """The guaranteed minimum is what a test may fail by."""
    floor = {"measure": "speed-down", "floor": "450Mbps"}
    usual = {"measure": "speed-down", "usual": "810Mbps", "share": "90%"}
    terms = terms_of(uplink({"link_mbps": 1000}, usual, floor, down_mbps=900))
    assert terms.speeds["down"].limit == Limit(Fraction(450_000_000), "contract")
    assert terms.speeds["down"].share == Fraction(95, 100)
    assert "up" not in terms.speeds


def test_a_tier_is_held_to_nine_tenths_of_the_payload_that_it_can_carry() -> None:
    """IEEE 802.3 and RFC 7323: 1448 of a frame's 1518 bytes are payload, and a gigabit carries 941.48 Mbit/s."""
    terms = terms_of(uplink({"link_mbps": 1000}, down_mbps=100, up_mbps=1000))
    assert terms.speeds["down"].limit.figure == Fraction(9, 10) * 100_000_000 * Fraction(1448, 1518)
    assert float(terms.speeds["up"].limit.figure) == pytest.approx(0.9 * 941.482e6, rel=1e-5)
    assert terms.speeds["down"].share is None
    assert terms_of(uplink({"link_mbps": 1000})).speeds == {}
