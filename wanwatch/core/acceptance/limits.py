"""Limits: what a line is held to, and who says so. Where the contract is silent a stated default stands in.

Sources: ITU-T Y.1541 table 1, class 0 (from memory): 100 ms mean transfer delay one way, so 200 ms there and back; one
packet in a thousand lost. RFC 2516 section 7 (a PPPoE session carries at most 1492 bytes; RFC 4638 lifts that).
"""

from dataclasses import dataclass
from fractions import Fraction
from typing import Final

CONTRACT: Final = "contract"
CONFIGURED: Final = "handoff, as configured"
"""What the file says of how the line is handed over."""


@dataclass(frozen=True, slots=True)
class Limit:
    """A limit.

    Attributes:
        figure: The number, in the unit of what it limits: seconds, a ratio, bytes, bits a second.
        source: Who sets it.
    """

    figure: Fraction
    source: str


DELAY: Final = Limit(Fraction(200, 1000), "stated default: ITU-T Y.1541 class 0, 100 ms each way")
LOSS: Final = Limit(Fraction(1, 1000), "stated default: ITU-T Y.1541 class 0")
PPPOE_MTU: Final = Limit(Fraction(1492), "RFC 2516 section 7")
ETHERNET_MTU: Final = Limit(Fraction(1500), "IEEE 802.3 clause 3.2.7")
TIER_SHARE: Final = Fraction(9, 10)
TIER: Final = (
    "stated default: nine tenths of what TCP can carry of the speed sold (common practice, no published source)"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class DelayTerm:
    """How much delay is allowed: to one target, by which share of the probes; None for the mean."""

    limit: Limit
    share: Fraction | None = Fraction(95, 100)


@dataclass(frozen=True, slots=True, kw_only=True)
class SpeedTerm:
    """How fast a direction has to be.

    Attributes:
        limit: Payload bits a second.
        share: Of tests that have to reach it, as a clause has it; None: most of them.
        best_bps: The most that the handoff can carry; None where its rate is not configured.
    """

    limit: Limit
    share: Fraction | None = None
    best_bps: Fraction | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Terms:
    """All that one line is held to.

    Attributes:
        mtu: Bytes of IP that it carries whole.
        link_bps: Speed of the handoff's port; None where it is not configured.
        delays: By target; a target without a term of its own is held to the stated default.
        losses: By target; the key None stands for all targets together.
        speeds: By direction, `down` and `up`; None where nothing says how fast it should be.
        failover: The longest interruption of a failover, in seconds; None where nobody sets one.
    """

    mtu: Limit
    link_bps: int | None = None
    delays: dict[str, DelayTerm]
    losses: dict[str | None, Limit]
    speeds: dict[str, SpeedTerm]
    failover: Limit | None = None
