"""What one line is held to, as its configuration and its contract have it."""

from collections.abc import Iterator
from fractions import Fraction
from typing import Final

from wanwatch.config.contract import Contract, DelayClause, FailoverClause, LossClause, SpeedClause
from wanwatch.config.uplink import Handoff, Uplink
from wanwatch.core.acceptance.limits import (
    CONFIGURED,
    CONTRACT,
    ETHERNET_MTU,
    PPPOE_MTU,
    TIER,
    TIER_SHARE,
    DelayTerm,
    Limit,
    SpeedTerm,
    Terms,
)
from wanwatch.core.account.goodput import Framing, goodput_bps, tier_goodput_bps
from wanwatch.core.account.speed_result import Direction
from wanwatch.core.model import NS_PER_S

_MBPS: Final = 1_000_000
_STATISTICS: Final = {"mean": None, "max": Fraction(1)}


def terms_of(uplink: Uplink) -> Terms:
    """Return what *uplink* is held to. Clauses that cover some hours of the day only say nothing of any other time."""
    handoff, contract = uplink.handoff, uplink.contract or Contract(provider="nobody")
    return Terms(
        mtu=_mtu(handoff),
        link_bps=None if handoff.link_mbps is None else handoff.link_mbps * _MBPS,
        delays=dict(_delays(contract)),
        losses=dict(_losses(contract)),
        speeds={way.value: term for way in Direction if (term := _speed(uplink, contract, way)) is not None},
        failover=next(_failovers(contract), None),
    )


def _mtu(handoff: Handoff) -> Limit:
    if "mtu" in handoff.model_fields_set:
        return Limit(Fraction(handoff.mtu), CONFIGURED)
    return PPPOE_MTU if handoff.encapsulation == "pppoe" else ETHERNET_MTU


def _delays(contract: Contract) -> Iterator[tuple[str, DelayTerm]]:
    for clause in reversed(contract.clauses):
        if isinstance(clause, DelayClause) and clause.measure == "delay" and clause.hours is None:
            share = _STATISTICS.get(clause.statistic, _share(clause.statistic))
            yield clause.target, DelayTerm(limit=Limit(_seconds(clause.at_most_ns), CONTRACT), share=share)


def _share(statistic: str) -> Fraction:
    digits = statistic.removeprefix("p")
    return Fraction(digits) / 100 if digits != statistic else Fraction(1)


def _losses(contract: Contract) -> Iterator[tuple[str | None, Limit]]:
    for clause in reversed(contract.clauses):
        if isinstance(clause, LossClause) and clause.hours is None:
            yield clause.target, Limit(Fraction(clause.at_most), CONTRACT)


def _failovers(contract: Contract) -> Iterator[Limit]:
    for clause in contract.clauses:
        if isinstance(clause, FailoverClause):
            yield Limit(_seconds(clause.at_most_ns), CONTRACT)


def _seconds(length_ns: int) -> Fraction:
    return Fraction(length_ns, NS_PER_S)


def framing_of(uplink: Uplink) -> Framing:
    """Return what a byte of TCP payload is wrapped in on this line, over IPv4 with timestamps."""
    handoff = uplink.handoff
    mtu = int(_mtu(handoff).figure)
    return Framing(mtu=mtu, vlan=handoff.vlan, pppoe=handoff.encapsulation == "pppoe")


def _speed(uplink: Uplink, contract: Contract, way: Direction) -> SpeedTerm | None:
    link_mbps, framing = uplink.handoff.link_mbps, framing_of(uplink)
    best = None if link_mbps is None else goodput_bps(link_mbps * _MBPS, framing)
    promised = [
        clause.promised
        for clause in contract.clauses
        if isinstance(clause, SpeedClause) and clause.measure == f"speed-{way.value}" and clause.hours is None
    ]
    # A peak is there now and then, so that some tests say nothing of it; of the others a floor is the surest.
    for kind, bps, share in sorted(promised):
        if kind != "peak":
            return SpeedTerm(limit=Limit(Fraction(bps), CONTRACT), share=Fraction(share), best_bps=best)
    sold = contract.down_mbps if way is Direction.DOWN else contract.up_mbps
    if sold is None:
        return None
    # By frames, which is the kinder way to count for the provider: a tier of packets would carry more payload.
    tier = tier_goodput_bps(sold * _MBPS, framing, of_frames=True)
    most = tier if best is None else min(tier, best)
    return SpeedTerm(limit=Limit(most * TIER_SHARE, TIER), best_bps=best)
