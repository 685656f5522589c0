"""Asking: what is asked, of whom, and by which way."""

from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final, NamedTuple

from wanwatch.core.resolver import Resolver

UNPINNED: Final = "unpinned"
"""The name that stands for the path of ordinary traffic, wherever an uplink's name is asked for."""


class Kind(StrEnum):
    """How a target is asked."""

    ECHO = "echo"
    STAMP = "stamp"
    TCP = "tcp"
    HTTP = "http"
    DNS = "dns"
    STUN = "stun"
    HELD = "held"


class Role(StrEnum):
    """What a series is for: only `LINE` series speak for the state of the line itself."""

    LINE = "line"
    GATEWAY = "gateway"
    FIRST_HOP = "first-hop"
    NAMES = "names"
    EGRESS = "egress"
    TRAFFIC = "traffic"


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
