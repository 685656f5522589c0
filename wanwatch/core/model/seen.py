"""Seen: what measuring tells, one observation at a time."""

from collections.abc import Mapping
from enum import StrEnum
from typing import Literal, NamedTuple, TypeAlias

from wanwatch.core.model.asking import Series
from wanwatch.core.model.units import Json
from wanwatch.core.way import Way


class Outcome(StrEnum):
    """What came of one probe. `NOT_SENT` is a fact about us and never counts as loss."""

    ANSWERED = "answered"
    LOST = "lost"
    LATE = "late"
    REFUSED = "refused"
    MALFORMED = "malformed"
    NOT_SENT = "not-sent"


class Cause(StrEnum):
    """Why an outcome is what it is, where something said so."""

    # refused: somebody answered, and said no
    NET_UNREACHABLE = "net-unreachable"
    HOST_UNREACHABLE = "host-unreachable"
    PORT_UNREACHABLE = "port-unreachable"
    PROHIBITED = "prohibited"
    TTL_EXCEEDED = "ttl-exceeded"
    PACKET_TOO_BIG = "packet-too-big"
    RESET = "reset"
    RCODE = "rcode"
    TLS = "tls"
    HTTP_STATUS = "http-status"
    PORTAL = "portal"
    # not sent: we could not ask
    NO_INTERFACE = "no-interface"
    INTERFACE_DOWN = "interface-down"
    NO_ADDRESS = "no-address"
    NO_ROUTE = "no-route"
    NOT_PERMITTED = "not-permitted"
    NO_BUFFER = "no-buffer"
    ERROR = "error"


class Sample(NamedTuple):
    """One probe and what came of it; exactly one is told for each probe.

    A named tuple and not a dataclass: the echo engine makes 20,000 of them a second.

    Attributes:
        series: Whose probe this was.
        sent_ns: When it was sent (monotonic).
        sent_unix_ns: When it was sent (wall clock).
        known_ns: When its outcome was known (monotonic): the reply's arrival, or the end of the waiting time.
        outcome: What came of it. `LATE` is never a sample's first outcome: see `Afterword`.
        rtt_ns: Round-trip time in nanoseconds; None unless answered (or refused, where the refusal was timed).
        cause: Why, for refused and not-sent probes.
        reordered: A later probe of the series was answered before this one (RFC 4737, by sequence).
        facts: What else was learnt, by kind: see the module of each kind in measure.
    """

    series: Series
    sent_ns: int
    sent_unix_ns: int
    known_ns: int
    outcome: Outcome
    rtt_ns: int | None = None
    cause: Cause | None = None
    reordered: bool = False
    facts: Mapping[str, Json] | None = None


class Afterword(NamedTuple):
    """News of a probe whose sample was told already: it was answered too late, or answered again.

    A late answer stays lost for every judgement (RFC 7680: a reply after the waiting time is lost); the store moves
    it from `lost` to `late`.

    Attributes:
        series: Whose probe this was.
        sent_ns: When the probe was sent (monotonic); with the series it names the sample.
        sent_unix_ns: When the probe was sent (wall clock).
        known_ns: When this answer came (monotonic).
        rtt_ns: Round-trip time of this answer in nanoseconds.
        late: True for the first answer after the waiting time, False for a duplicate.
    """

    series: Series
    sent_ns: int
    sent_unix_ns: int
    known_ns: int
    rtt_ns: int
    late: bool


class RouteSeen(NamedTuple):
    """What the kernel's own routing says of unpinned traffic.

    Attributes:
        uplink: The uplink's name, or None for no route at all.
        changed_by: Who added or removed default routes since the last look, as the kernel announced it: `rtm_protocol`
            of each, in order (rtnetlink(7)).
    """

    at_ns: int
    at_unix_ns: int
    uplink: str | None
    changed_by: tuple[int, ...] = ()


class LinkSeen(NamedTuple):
    """The ladder's first rung: whether the interface behind an uplink's pin has carrier and an address.

    Attributes:
        enabled: Whether its operator wants it up (IFF_UP, netdevice(7)); one that is switched off has no carrier.
    """

    at_ns: int
    at_unix_ns: int
    uplink: str
    carrier: bool
    address: bool
    interface: str
    enabled: bool = True


class PinsSeen(NamedTuple):
    """One round of pin proof: the first routers on each uplink's way, by name; an uplink that was not traced is not in.

    The addresses that STUN servers see come as samples; both together prove the pins.
    """

    at_ns: int
    at_unix_ns: int
    ways: Mapping[str, Way]


class SpeedSeen(NamedTuple):
    """A speed test of one direction of one uplink has ended.

    Attributes:
        at_ns: When it ended (monotonic).
        at_unix_ns: When it ended (wall clock).
        uplink: Whose.
        direction: Towards the site, or away from it.
        bps: What it carried, in bits per second.
        counts: Whether it may judge the line: False where other traffic, or our own machine, held it back.
        length_ns: How long it measured.
    """

    at_ns: int
    at_unix_ns: int
    uplink: str
    direction: Literal["down", "up"]
    bps: float
    counts: bool
    length_ns: int = 0


Observation: TypeAlias = Sample | Afterword | RouteSeen | LinkSeen | PinsSeen | SpeedSeen
