"""The most that TCP can carry over an Ethernet handoff: what is left of a port's rate once every header is paid.

Sources:     IEEE 802.3 clauses 3 and 4 (preamble, delimiter, header, check sequence, gap); IEEE 802.1Q clause 9 (tag);
             RFC 2516 section 4 (PPPoE) and RFC 4638 (PPPoE with an MTU of 1500); RFC 791, RFC 8200, RFC 9293 and
             RFC 768 (headers); RFC 7323 section 3.2 (timestamps option); RFC 6349 section 3.3 (what it is good for).
Departures:  acknowledgements that share the way back are not counted; a direction of full duplex has its own rate.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Final

_FRAME_BYTES: Final = 8 + 14 + 4 + 12
"""Preamble with delimiter, header, check sequence, gap."""
_MAC_BYTES: Final = 14 + 4
"""What of it belongs to the frame itself, as rates of switches and providers count it."""
_VLAN_BYTES: Final = 4
_PPPOE_BYTES: Final = 8
"""Six of PPPoE, two of PPP."""
_IP_BYTES: Final = {4: 20, 6: 40}
_TCP_BYTES: Final = 20
_TIMESTAMPS_BYTES: Final = 12
"""Ten and two of padding."""
_BITS: Final = 8


@dataclass(frozen=True, slots=True)
class Framing:
    """What a byte of TCP payload is wrapped in.

    Attributes:
        mtu: Largest IP packet, in bytes.
        vlan: Whether frames carry a VLAN tag.
        pppoe: Whether a PPPoE session runs over it.
        ip: Version of IP, 4 or 6, without options.
        timestamps: Whether TCP's timestamps are on, as nearly all systems have them.
    """

    mtu: int = 1500
    vlan: bool = False
    pppoe: bool = False
    ip: int = 4
    timestamps: bool = True

    @property
    def payload_bytes(self) -> int:
        """Payload of one full TCP segment."""
        return self.mtu - _IP_BYTES[self.ip] - _TCP_BYTES - _TIMESTAMPS_BYTES * self.timestamps

    @property
    def wire_bytes(self) -> int:
        """Time that its frame takes on the wire, in bytes."""
        return self.mtu + _FRAME_BYTES + self._tags_bytes

    @property
    def frame_bytes(self) -> int:
        """Bytes of the frame itself, without preamble and gap."""
        return self.mtu + _MAC_BYTES + self._tags_bytes

    @property
    def _tags_bytes(self) -> int:
        return _VLAN_BYTES * self.vlan + _PPPOE_BYTES * self.pppoe

    def variants(self) -> Iterator["Framing"]:
        """Yield the same handoff under IPv4 and IPv6, without and with TCP's timestamps."""
        for ip in _IP_BYTES:
            for timestamps in (False, True):
                yield replace(self, ip=ip, timestamps=timestamps)


def goodput_bps(link_bps: int, framing: Framing) -> Fraction:
    """Return the most payload that TCP can carry, in bits a second, over a port of *link_bps*."""
    return link_bps * Fraction(framing.payload_bytes, framing.wire_bytes)


def tier_goodput_bps(tier_bps: int, framing: Framing, *, of_frames: bool) -> Fraction:
    """Return the same where the provider holds the line to *tier_bps* of Ethernet frames, or else of IP packets."""
    return tier_bps * Fraction(framing.payload_bytes, framing.frame_bytes if of_frames else framing.mtu)


def packet_bps(link_bps: int, framing: Framing) -> Fraction:
    """Return the most bits a second of whole IP packets."""
    return link_bps * Fraction(framing.mtu, framing.wire_bytes)


def frame_rate(link_bps: int, frame_bytes: int) -> Fraction:
    """Return how many frames of this size, check sequence included, fit into a second (RFC 2544 section 20)."""
    return Fraction(link_bps, (frame_bytes + _FRAME_BYTES - _MAC_BYTES) * _BITS)


def window_bytes(rate_bps: float, rtt_s: float) -> float:
    """Return the least window that fills the line: its bandwidth-delay product (RFC 6349 section 3.3.1)."""
    return rate_bps * rtt_s / _BITS


def window_bps(window: float, rtt_s: float) -> float | None:
    """Return the most bits a second that a *window* of so many bytes lets through; None without a round trip.

    Source: RFC 6349 section 3.3.1.
    """
    return window * _BITS / rtt_s if rtt_s > 0 else None
