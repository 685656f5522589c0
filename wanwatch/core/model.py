"""Values that all rooms share.

Two clocks, never mixed: a name that ends in `_ns` is monotonic nanoseconds and measures durations; a name that ends
in `_unix_ns` is the wall clock, nanoseconds since 1970-01-01 UTC, and says when.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final, NamedTuple, TypeAlias

from wanwatch.core.resolver import Resolver
from wanwatch.core.way import Nat, Way

Json: TypeAlias = "bool | int | float | str | list[Json] | dict[str, Json] | None"

UNPINNED: Final = "unpinned"
"""The name that stands for the path of ordinary traffic, wherever an uplink's name is asked for."""

NS_PER_S: Final = 1_000_000_000


class Kind(StrEnum):
    """How a target is asked."""

    ECHO = "echo"
    STAMP = "stamp"
    TCP = "tcp"
    HTTP = "http"
    DNS = "dns"
    STUN = "stun"


class Role(StrEnum):
    """What a series is for: only `LINE` series speak for the state of the line itself."""

    LINE = "line"
    GATEWAY = "gateway"
    FIRST_HOP = "first-hop"
    NAMES = "names"
    EGRESS = "egress"


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


class Series(NamedTuple):
    """One row of questions: the same question put to one target over one uplink, again and again."""

    uplink: str
    target: str
    kind: Kind
    role: Role


@dataclass(frozen=True, slots=True)
class Pin:
    """What forces a probe through one uplink. All fields empty: not pinned, the path of ordinary traffic.

    Attributes:
        interface: Leave by this interface (SO_BINDTODEVICE).
        sources: Leave from one of these addresses, at most one of each family (bind).
        mark: Firewall mark (SO_MARK); needs CAP_NET_ADMIN.
        dscp: Differentiated services code point, 0 to 63 (RFC 2474), by which the gateway routes.
        targets: The gateway itself routes this uplink's targets one way only; nothing is set on the socket.
    """

    interface: str | None = None
    sources: tuple[str, ...] = ()
    mark: int | None = None
    dscp: int | None = None
    targets: bool = False


@dataclass(frozen=True, slots=True)
class Question:
    """A series and how to ask it.

    Attributes:
        series: The series that its samples belong to.
        pin: The pin of the series' uplink; `Pin()` for the unpinned path.
        address: An IP address; for `Kind.HTTP` the whole URL.
        port: UDP or TCP port; None where the kind or the URL says.
        every_ns: Interval between sends.
        pulse_ns: Interval while the uplink is probed quickly; never longer than `every_ns`.
        timeout_ns: Waiting time, after which a probe is lost.
        ask: For `Kind.DNS`: the name to ask for (its A record).
        stamp_key: For `Kind.STAMP`: the key shared with the reflector; None: without authentication. Never shown.
        resolvers: For `Kind.HTTP` with a host name: the resolvers to ask, over the same pin.
        resolver: For `Kind.DNS`: how it is asked; None: at address and port, by UDP.
        expect: For `Kind.HTTP`: the one status that belongs there; None: any below 400.
        family: For `Kind.HTTP` with a host name: 4 or 6 to use only that version of IP; None: whichever answers.
        ca_file: Certificate authorities (PEM) that are trusted beside the system's own.
        token: For `Kind.HTTP`: what is shown as Bearer (RFC 6750). Never shown otherwise.
    """

    series: Series
    pin: Pin
    address: str
    port: int | None
    every_ns: int
    pulse_ns: int
    timeout_ns: int
    ask: str | None = None
    stamp_key: bytes | None = field(default=None, repr=False)
    resolvers: tuple[Resolver, ...] = ()
    resolver: Resolver | None = None
    expect: int | None = None
    family: int | None = None
    ca_file: str | None = None
    token: str | None = field(default=None, repr=False)


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
    """What the kernel's own routing says of unpinned traffic: an uplink's name, or None for no route at all."""

    at_ns: int
    at_unix_ns: int
    uplink: str | None


class LinkSeen(NamedTuple):
    """The ladder's first rung: whether the interface behind an uplink's pin has carrier and an address."""

    at_ns: int
    at_unix_ns: int
    uplink: str
    carrier: bool
    address: bool
    interface: str


class PinsSeen(NamedTuple):
    """One round of pin proof: the first routers on each uplink's way, by name; an uplink that was not traced is not in.

    The addresses that STUN servers see come as samples; both together prove the pins.
    """

    at_ns: int
    at_unix_ns: int
    ways: Mapping[str, Way]


class State(StrEnum):
    """The four states of an uplink."""

    UP = "up"
    IMPAIRED = "impaired"
    DOWN = "down"
    UNOBSERVED = "unobserved"


class Domain(StrEnum):
    """Where it broke."""

    OUR_SIDE = "our-side"
    GATEWAY = "gateway"
    ACCESS_LINE = "access-line"
    PROVIDER = "provider"
    FAR_END = "far-end"
    NAMES = "names"


class EventKind(StrEnum):
    """What happened."""

    OUTAGE = "outage"
    IMPAIRMENT = "impairment"
    NAMES_FAILURE = "names-failure"
    FAILOVER = "failover"
    FAILBACK = "failback"
    BLACKOUT = "blackout"
    RESTORATION = "restoration"
    NEEDLESS_FAILOVER = "needless-failover"
    STUCK_FAILOVER = "stuck-failover"
    FLAPPING = "flapping"
    UNOBSERVED = "unobserved"
    CLOCK_STEP = "clock-step"
    PIN_LOST = "pin-lost"
    DRILL = "drill"
    PLANNED_WORK = "planned-work"


SWITCHES: Final = frozenset(
    {
        EventKind.FAILOVER,
        EventKind.FAILBACK,
        EventKind.BLACKOUT,
        EventKind.RESTORATION,
        EventKind.NEEDLESS_FAILOVER,
    }
)
"""The kinds that are a change of the carrying uplink."""


@dataclass(frozen=True, slots=True)
class Bounds:
    """An instant that lies between two observations (wall clock): `earliest <= estimate <= latest`."""

    estimate_unix_ns: int
    earliest_unix_ns: int
    latest_unix_ns: int


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happened, from a start to an end; an event without an end is still going on.

    The same `id` is told again whenever more is known; the last telling holds.

    Attributes:
        id: `KIND-UPLINK-STARTINSTANT`, unique within a site, fixed when the event is first told.
        site: The site's name.
        kind: What happened.
        uplink: The uplink it happened to; None for the site as a whole.
        start: When it began.
        end: When it ended, or None.
        domain: Where it broke, or None where that cannot be told.
        from_uplink: For switches: the uplink that traffic left; None from a blackout.
        to_uplink: For switches: the uplink that traffic took; None into a blackout.
        interruption_s: How long unpinned traffic got no answer, in seconds; None where that was not observed.
        planned: Whether it lies in planned work.
        drill: Whether it was rehearsed on purpose.
        detail: Evidence and reasons, JSON values only.
    """

    id: str
    site: str
    kind: EventKind
    uplink: str | None
    start: Bounds
    end: Bounds | None = None
    domain: Domain | None = None
    from_uplink: str | None = None
    to_uplink: str | None = None
    interruption_s: float | None = None
    planned: bool = False
    drill: bool = False
    detail: Mapping[str, Json] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Tell:
    """Keep this event, then tell it."""

    event: Event


@dataclass(frozen=True, slots=True)
class Pace:
    """Probe this uplink (or the unpinned path) at the quick pulse, or at its usual interval again."""

    uplink: str
    quick: bool


@dataclass(frozen=True, slots=True)
class StateChanged:
    """An uplink's state, as told on the status page and in the metrics, is another one now."""

    uplink: str
    state: State
    since_unix_ns: int


@dataclass(frozen=True, slots=True)
class CarryingChanged:
    """The carrying uplink is another one now.

    Attributes:
        uplink: Its name; None when no uplink carries or nobody can tell.
        known: False where the witnesses disagree or are missing.
    """

    uplink: str | None
    known: bool


@dataclass(frozen=True, slots=True)
class PinChanged:
    """Something else is held of an uplink's pin now.

    Attributes:
        uplink: Whose pin.
        proved: Whether it is proved to leave by its own line; None while nothing tells.
        nat: Who translates addresses on its way.
        leaves_by: The uplink by whose line it leaves instead, if it does.
    """

    uplink: str
    proved: bool | None
    nat: Nat
    leaves_by: str | None = None


Effect: TypeAlias = Tell | Pace | StateChanged | CarryingChanged | PinChanged
Observation: TypeAlias = Sample | Afterword | RouteSeen | LinkSeen | PinsSeen


@dataclass(frozen=True, slots=True)
class JudgeSettings:
    """The rules' numbers, all durations in monotonic nanoseconds; defaults are those of the configuration."""

    down_after_ns: int = 5 * NS_PER_S
    up_after_ns: int = 30 * NS_PER_S
    impaired_loss_ratio: float = 0.03
    impaired_delay_ns: int = 50_000_000
    window_ns: int = 60 * NS_PER_S
    stuck_after_ns: int = 30 * NS_PER_S


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of wall-clock time, half open: `start <= t < end`."""

    start_unix_ns: int
    end_unix_ns: int

    @property
    def length_ns(self) -> int:
        """Its length in nanoseconds; never negative."""
        return max(0, self.end_unix_ns - self.start_unix_ns)
