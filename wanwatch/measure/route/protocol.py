"""What the helper process is asked and answers, as values and as JSON."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from enum import StrEnum
from typing import Final, TypeAlias

from pydantic import TypeAdapter, ValidationError

from wanwatch.core.model import Cause, Pin

SECOND_NS: Final = 1_000_000_000


class Method(StrEnum):
    """By which packets the hops are traced."""

    ICMP = "icmp"
    UDP = "udp"
    TCP = "tcp"


@dataclass(frozen=True, slots=True)
class Trace:
    """Which routers stand on the way to *target*?

    Attributes:
        target: An IP address.
        pin: How the packets leave.
        method: What they are.
        port: Destination port for UDP and TCP.
        most: Distances asked, from 1 on.
        wait_ns: Waiting time of each of two attempts.
        flow: Number of the flow that the packets are; each pin has its own.
    """

    target: str
    pin: Pin
    method: Method = Method.ICMP
    port: int = 33434  # common practice for UDP: nobody is expected to listen there
    most: int = 30
    wait_ns: int = SECOND_NS
    flow: int = 0


@dataclass(frozen=True, slots=True)
class FindMtu:
    """What is the largest packet that gets to *target* whole?

    Attributes:
        target: An IP address that answers echo requests.
        pin: How the packets leave.
        largest: The largest packet to try, in bytes of IP.
        wait_ns: Longest waiting time of each of three attempts.
        flow: Number of the flow that the packets are; each pin has its own.
    """

    target: str
    pin: Pin
    largest: int = 1500
    wait_ns: int = SECOND_NS
    flow: int = 0


@dataclass(frozen=True, slots=True)
class FindPppoe:
    """Who offers PPPoE on this interface (RFC 2516 discovery; no session is asked for)?"""

    interface: str
    wait_ns: int = 3 * SECOND_NS


@dataclass(frozen=True, slots=True)
class FindDhcp:
    """Who offers addresses on this interface (RFC 2131 discover; no offer is taken)?"""

    interface: str
    wait_ns: int = 3 * SECOND_NS


@dataclass(frozen=True, slots=True)
class Hop:
    """One router on the way; `address` and `rtt_ns` are None where it kept silent.

    Attributes:
        distance: The time to live that its probe had.
        address: Who answered.
        rtt_ns: Round-trip time in nanoseconds.
    """

    distance: int
    address: str | None = None
    rtt_ns: int | None = None


@dataclass(frozen=True, slots=True)
class Traced:
    """The hops, nearest first; the last one is the target itself if it was *reached*. `source` is our own address."""

    hops: tuple[Hop, ...]
    reached: bool
    source: str


@dataclass(frozen=True, slots=True)
class Mtu:
    """The path MTU.

    Attributes:
        size: The largest packet that passed, in bytes of IP; `None` if not even the smallest did.
        limited: False where the largest packet that was tried passed.
        black_hole: Larger ones vanish, and nobody says that they are too big (RFC 2923 section 2.1).
        told_by: Who said that a packet was too big; our own address where it was this machine.
    """

    size: int | None
    limited: bool
    black_hole: bool
    told_by: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Pppoe:
    """An access concentrator that made an offer (PADO), with the services it names."""

    mac: str
    name: str
    services: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Dhcp:
    """A server that made an offer: the address it would give, and what goes with it."""

    server: str
    address: str
    mask: str | None
    routers: tuple[str, ...]
    resolvers: tuple[str, ...]
    lease_s: int | None


@dataclass(frozen=True, slots=True)
class Offers:
    """Everyone who made an offer; empty if nobody did."""

    pppoe: tuple[Pppoe, ...] = ()
    dhcp: tuple[Dhcp, ...] = ()

    @property
    def lines(self) -> list[str]:
        """Each offer in words."""
        return [
            *(f"PPPoE by {one.name or '?'} ({one.mac}): {_listed(one.services, 'any service')}" for one in self.pppoe),
            *(
                f"DHCP by {one.server}: {one.address}, mask {one.mask or '?'}, routers {_listed(one.routers, 'none')}, "
                f"resolvers {_listed(one.resolvers, 'none')}, lease {one.lease_s or '?'} s"
                for one in self.dhcp
            ),
        ]


def _listed(words: Sequence[str], otherwise: str) -> str:
    return ", ".join(word for word in words if word) or otherwise


@dataclass(frozen=True, slots=True)
class Failed:
    """It could not be measured: a fact about us."""

    cause: Cause
    why: str


Question: TypeAlias = Trace | FindMtu | FindPppoe | FindDhcp
Answer: TypeAlias = Traced | Mtu | Offers | Failed

_QUESTIONS: Final = {kind.__name__: kind for kind in (Trace, FindMtu, FindPppoe, FindDhcp)}
_ANSWERS: Final = {kind.__name__: kind for kind in (Traced, Mtu, Offers, Failed)}


class BadWordsError(ValueError):
    """One side did not understand what the other one said."""


def dump(values: Sequence[Question] | Sequence[Answer]) -> bytes:
    """Return *values* as one line of JSON: a list of objects, each with its kind under `is`."""
    return json.dumps([{"is": type(value).__name__} | asdict(value) for value in values]).encode() + b"\n"


def read_questions(data: bytes) -> list[Question]:
    """Read questions. Raises `BadWordsError` if they are none."""
    return _read(data, _QUESTIONS)  # type: ignore[return-value]  # the table's own kinds


def read_answers(data: bytes) -> list[Answer]:
    """Read answers. Raises `BadWordsError` if they are none."""
    return _read(data, _ANSWERS)  # type: ignore[return-value]  # the table's own kinds


def _read(data: bytes, kinds: Mapping[str, type]) -> list[object]:
    try:
        values: list[dict[str, object]] = TypeAdapter(list[dict[str, object]]).validate_json(data)
        return [TypeAdapter(kinds[str(value.pop("is"))]).validate_python(value) for value in values]
    except (KeyError, ValidationError) as error:
        message = f"not what was expected: {data[:200]!r}"
        raise BadWordsError(message) from error
