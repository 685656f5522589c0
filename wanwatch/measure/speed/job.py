"""What the process that moves the bytes is asked and answers, as values and as JSON."""

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from typing import Final, NamedTuple

from pydantic import TypeAdapter, ValidationError

from wanwatch.core.account.speed import Mark
from wanwatch.core.account.speed_result import Direction, Ending
from wanwatch.core.errors import WanwatchError
from wanwatch.core.model import Pin


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """One direction to be run.

    Attributes:
        direction: Which way.
        pin: How the connections leave.
        addresses: Where they may go to: one of each family, the one to try first first.
        port: TCP port.
        host: What is named as the host, and what a certificate has to show.
        authority: The same with its port, as the Host field says it (RFC 9112 section 3.2).
        path: Path and query that are asked for.
        tls: Whether through TLS.
        ca_file: Certificate authorities (PEM) that are trusted beside the system's own.
        token: Shown as Bearer; None: nothing is.
        connections: How many at once.
        seconds: How long to measure once it is warm.
        most_bytes: The most payload to move.
        account: Path at which the far end tells what it sent; None where it does not.
    """

    direction: Direction
    pin: Pin
    addresses: Sequence[str]
    port: int
    host: str
    authority: str
    path: str
    tls: bool
    ca_file: str | None
    token: str | None = field(repr=False)
    connections: int
    seconds: float
    most_bytes: int
    account: str | None = None


class FarSent(NamedTuple):
    """What the far end's TCP tells of all that it sent: payload bytes, and of them those sent again."""

    sent: int
    retransmitted: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Counted:
    """What the counters say of the measured time; None where the kernel does not tell. Shares are of that time.

    Attributes:
        sent: Payload bytes sent, those sent again included; None where we received.
        retransmitted: Of them, those sent again.
        segments: Segments that came in; None where we sent.
        out_of_order: Of them, those out of order.
        windowed: Share of the sending time in which a window or a buffer held us up; None where we received.
        window_bps: What our own windows let through; None where we sent.
        waiting: Share of the connections' time without a body.
        processor: Share in which the process ran or waited to be let run.
        interrupts: Share in which the busiest processor served the kernel's interrupts.
        port_bps: Nominal rate of the interface; None where it has none.
        port: Share of it that was used.
    """

    sent: int | None
    retransmitted: int | None
    segments: int | None
    out_of_order: int | None
    windowed: float | None
    window_bps: float | None
    waiting: float
    processor: float | None
    interrupts: float | None
    port_bps: int | None
    port: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Transfer:
    """What came of a job.

    Attributes:
        ending: How it ended.
        why: What was said of that.
        marks: Bytes carried, each tenth of a second.
        begin: The mark that measuring began with; None if it never came to that.
        steady: Whether the rate was steady then.
        used: Payload bytes of the whole run.
        ip: Version of IP; None without a connection.
        mss: Payload of a full segment; None where unknown.
        timestamps: Whether TCP's timestamps were on.
        rtts_s: Smoothed round-trip times of all connections while measuring; of our own data.
        least_rtt_s: The least one.
        counted: What the counters say; None if it never came to measuring.
        far: What the far end's TCP says of the whole run; None where it does not tell.
    """

    ending: Ending
    why: str = ""
    marks: Sequence[Mark] = ()
    begin: int | None = None
    steady: bool = False
    used: int = 0
    ip: int | None = None
    mss: int | None = None
    timestamps: bool = False
    rtts_s: Sequence[float] = ()
    least_rtt_s: float | None = None
    counted: Counted | None = None
    far: FarSent | None = None


class BadJobError(WanwatchError):
    """What came over the pipe is no job."""

    def __init__(self, mistakes: int) -> None:
        super().__init__(
            f"cannot read the job of a speed test: it has {mistakes} mistakes; both ends must be of one version"
        )


_JOB: Final = TypeAdapter(Job)
_SAID: Final = TypeAdapter(Mark | Transfer)


def dump(value: Job | Mark | Transfer) -> bytes:
    """Return *value* as one line."""
    return json.dumps(value if isinstance(value, Mark) else asdict(value)).encode() + b"\n"


def read_job(line: bytes) -> Job:
    """Read what `dump` wrote.

    Raises:
        BadJobError: It is none.
    """
    try:
        return _JOB.validate_json(line)
    except ValidationError as error:
        raise BadJobError(error.error_count()) from error


def read_said(line: bytes) -> Mark | Transfer | None:
    """Read a line of the worker's; None if it is none."""
    try:
        return _SAID.validate_json(line)
    except ValidationError:
        return None
