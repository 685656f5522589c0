"""What a speed test gives: one frozen value, and its JSON. All rates are of payload, in bits a second."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from enum import StrEnum
from typing import Final

from wanwatch.core.account.responsiveness import Responsiveness
from wanwatch.core.account.speed import Goodput, Limit, Signs
from wanwatch.core.instants import instant_text
from wanwatch.core.model import Json, Measurement, MeasurementKind


class Direction(StrEnum):
    """Which way the bytes went, as the site sees it."""

    DOWN = "down"
    UP = "up"


class Ending(StrEnum):
    """How a run ended; all but the first are troubles, and such a run never counts."""

    DONE = "done"
    CAPPED = "capped"
    NOT_SENT = "not-sent"
    NO_NAME = "no-name"
    UNREACHABLE = "unreachable"
    TLS = "tls"
    HTTP_STATUS = "http-status"
    REDIRECTED = "redirected"
    PORTAL = "portal"
    MALFORMED = "malformed"
    SHORT = "short"
    RESET = "reset"
    STALLED = "stalled"
    OUR_SIDE = "our-side"


WORDS: Final[Mapping[Ending, str]] = {
    Ending.DONE: "measured to the end",
    Ending.CAPPED: "ended early: the most bytes of a test were used",
    Ending.NOT_SENT: "could not send",
    Ending.NO_NAME: "the server's name does not resolve through this line",
    Ending.UNREACHABLE: "the server does not answer",
    Ending.TLS: "no TLS with the server",
    Ending.HTTP_STATUS: "the server refuses",
    Ending.REDIRECTED: "the server sends elsewhere, which is not followed",
    Ending.PORTAL: "a page came where bytes belong, as of a portal",
    Ending.MALFORMED: "the server does not speak HTTP",
    Ending.SHORT: "the server said another length than it kept to",
    Ending.RESET: "the connection was reset",
    Ending.STALLED: "the transfer stood still",
    Ending.OUR_SIDE: "this program could not measure",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Delay:
    """What a light probe stream saw.

    Attributes:
        kind: What the probes were: `stamp`, `http` or `tcp`.
        sent: How many there were, those that could not be sent left out.
        lost: How many of them were not answered.
        least_s: Least round-trip time; None if nothing was answered, like the others.
        mean_s: Their mean.
        median_s: Their median.
        high_s: Their 95th percentile (NIST e-Handbook 7.2.6.2).
    """

    kind: str
    sent: int
    lost: int
    least_s: float | None
    mean_s: float | None
    median_s: float | None
    high_s: float | None

    @property
    def loss_ratio(self) -> float | None:
        """Share of the probes lost; None of none."""
        return self.lost / self.sent if self.sent else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Tcp:
    """What TCP itself says of a run, over all its connections; None where the kernel does not tell.

    Attributes:
        efficiency: RFC 6349 section 4.2; of what we sent while measuring, or of all that a reflector sent us.
        least_rtt_s: Least round-trip time: of what we sent, by TCP itself; of what we received, of the light probes.
        mean_rtt_s: Likewise the mean while measuring, of smoothed ones where TCP itself tells.
        buffer_delay: RFC 6349 section 4.2, as a ratio.
        mss: Payload of a full segment, in bytes.
        timestamps: Whether TCP's timestamps were on.
    """

    efficiency: float | None
    least_rtt_s: float | None
    mean_rtt_s: float | None
    buffer_delay: float | None
    mss: int | None
    timestamps: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """One direction of a test.

    Attributes:
        direction: Which way.
        ending: How it ended.
        why: What was said of that, in words; empty where nothing was.
        goodput: What was measured; None where nothing could be.
        warm_up_s: What was cut away before.
        steady: Whether the rate had become steady by then.
        used_bytes: Payload bytes of the whole run, warm-up included.
        ip: Version of IP, None where no connection was made.
        tls: Whether through TLS.
        connections: How many there were at once.
        best_bps: The most that the handoff carries; None where its rate is not configured.
        transfer_time_ratio: RFC 6349 section 4.1.
        tcp: What TCP says.
        idle: The probes before the run.
        loaded: The probes during the measured time.
        responsiveness: Round trips a minute under load (IETF draft on responsiveness); None without a reflector.
        limited_by: What held it up.
        sign: By which sign that is known.
        signs: All signs.
        others_bps: What the line carried besides, the same way; None where no counters tell.
        busy: Whether that was too much to judge the line by the test; None likewise.
    """

    direction: Direction
    ending: Ending
    why: str = ""
    goodput: Goodput | None = None
    warm_up_s: float | None = None
    steady: bool = False
    used_bytes: int = 0
    ip: int | None = None
    tls: bool = False
    connections: int = 0
    best_bps: float | None = None
    transfer_time_ratio: float | None = None
    tcp: Tcp | None = None
    idle: Delay | None = None
    loaded: Delay | None = None
    responsiveness: Responsiveness | None = None
    limited_by: Limit = Limit.UNKNOWN
    sign: str = ""
    signs: Signs = field(default_factory=Signs)
    others_bps: float | None = None
    busy: bool | None = None

    @property
    def counts(self) -> bool:
        """Whether it says something about the line: measured, limited by it alone, and with all of it to itself."""
        measured = self.ending in (Ending.DONE, Ending.CAPPED) and self.goodput is not None
        return measured and self.limited_by is Limit.LINE and not self.busy


@dataclass(frozen=True, slots=True, kw_only=True)
class SpeedResult:
    """A whole test: each direction that was asked for, in the order in which they ran.

    Attributes:
        site: The site's name.
        uplink: The uplink's.
        at_unix_ns: When it began (wall clock).
        server: What it ran against: a URL without anything secret.
        runs: The directions.
        data_bytes: What it has moved over the line, headers and probes included, at its most.
        asked: How it was to be run: `seconds` and `connections`.
        unfinished: Whether it has only begun; one that is kept so was cut off by a crash.
        skipped: Why it was not run; None: it was.
    """

    site: str
    uplink: str
    at_unix_ns: int
    server: str
    runs: tuple[Run, ...]
    data_bytes: int = 0
    asked: Mapping[str, int] = field(default_factory=dict)
    unfinished: bool = False
    skipped: str | None = None

    def run(self, direction: Direction) -> Run | None:
        """Return one direction, None where it was not asked for."""
        return next((run for run in self.runs if run.direction is direction), None)

    def measurement(self) -> Measurement:
        """Return it as the record keeps it."""
        return Measurement(self.at_unix_ns, self.uplink, MeasurementKind.SPEED, self.to_json())

    def to_json(self) -> dict[str, Json]:
        """Return it as JSON values; each direction under its name, null where it was not asked for."""
        told: dict[str, Json] = {"site": self.site, "uplink": self.uplink, "at": instant_text(self.at_unix_ns)}
        runs = {way.value: _run_json(self.run(way)) for way in Direction}
        facts: dict[str, Json] = {"unfinished": self.unfinished, "skipped": self.skipped}
        return told | {"server": self.server, "asked": dict(self.asked), "data_bytes": self.data_bytes} | facts | runs


def _run_json(run: Run | None) -> Json:
    if run is None:
        return None
    told: dict[str, Json] = asdict(run)
    del told["direction"]
    return told | {"counts": run.counts}
