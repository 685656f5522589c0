"""What the shell's rooms promise each other: the Protocols that the daemon and the commands join.

The readers (`publish`, `web`, `report`) see the store only through `Record`; the daemon writes through `Keeper`.
"""

from collections.abc import Collection, Iterator, Sequence
from typing import Final, NamedTuple, Protocol

from wanwatch.core.model import (
    Afterword,
    Event,
    EventKind,
    Json,
    Learnt,
    Measurement,
    MeasurementKind,
    Observation,
    Sample,
    Series,
    Span,
)

RTT_LIMIT: Final = 0xFFFF_FFF0
"""Round-trip times in a block's array are below this many microseconds; larger words are the markers below."""
MARK_LOST: Final = 0xFFFF_FFFF
MARK_LATE: Final = 0xFFFF_FFFE
MARK_REFUSED: Final = 0xFFFF_FFFD
MARK_MALFORMED: Final = 0xFFFF_FFFC
MARK_NOT_SENT: Final = 0xFFFF_FFFB


class MinuteBlock(NamedTuple):
    """What one series did in one minute of the wall clock. Nothing is averaged away.

    Attributes:
        series: Whose minute.
        minute: The minute's number: Unix seconds // 60.
        sent: Probes that left: answered + lost + late + refused + malformed.
        lost: Probes with no answer at all.
        late: Probes answered after their waiting time (lost for every judgement, RFC 7680).
        refused: Probes that somebody refused; neither answered nor lost.
        malformed: Probes whose reply was corrupt (counts as lost, RFC 7680).
        not_sent: Probes that could not be sent; a fact about us, in no ratio.
        reordered: Answered probes that a later one overtook (RFC 4737).
        duplicated: Answers beyond the first.
        min_us: Smallest round-trip time in microseconds, None if nothing was answered.
        median_us: Its median over the answered probes (NIST 7.2.6.2).
        p95_us: Its 95th percentile over the answered probes (NIST 7.2.6.2).
        max_us: Its largest.
        offsets: Little-endian 32-bit words in order of sending: microseconds from the minute's start to the send.
        rtts: Little-endian 32-bit words in the same order: round-trip time in microseconds, or a `MARK_`; both
            arrays are empty once the raw samples' keeping time is over.
    """

    series: Series
    minute: int
    sent: int
    lost: int
    late: int
    refused: int
    malformed: int
    not_sent: int
    reordered: int
    duplicated: int
    min_us: int | None
    median_us: int | None
    p95_us: int | None
    max_us: int | None
    offsets: bytes
    rtts: bytes


class HourSums(NamedTuple):
    """What one series did in one hour of the wall clock, added up over its minutes.

    Attributes:
        series: Whose hour.
        hour: The hour's number: Unix seconds // 3600.
        probed: Bit n is set where at least one probe left in the hour's minute n.
        asked: Probes that were answered or not; without the refused.
        missed: The unanswered among them: lost, late and malformed (RFC 7680).
        refused: Probes that somebody refused.
    """

    series: Series
    hour: int
    probed: int
    asked: int
    missed: int
    refused: int


class HourMinutes(NamedTuple):
    """The same hour minute by minute, in columns of equal length: of each kept minute, in order of time.

    Attributes:
        series: Whose hour.
        hour: The hour's number: Unix seconds // 3600.
        minutes: The minutes' numbers: Unix seconds // 60.
        sent: Probes that left.
        asked: Probes that were answered or not; without the refused.
        missed: The unanswered among them: lost, late and malformed (RFC 7680).
        refused: Probes that somebody refused.
        offsets: As in `MinuteBlock`.
        rtts: As in `MinuteBlock`.
    """

    series: Series
    hour: int
    minutes: tuple[int, ...]
    sent: tuple[int, ...]
    asked: tuple[int, ...]
    missed: tuple[int, ...]
    refused: tuple[int, ...]
    offsets: tuple[bytes, ...]
    rtts: tuple[bytes, ...]


class Clock(Protocol):
    """Where time comes from. One real one in measure, and fakes in tests."""

    def now_ns(self) -> int:
        """Monotonic nanoseconds."""

    def now_unix_ns(self) -> int:
        """Wall-clock nanoseconds since 1970-01-01 UTC."""


class Record(Protocol):
    """The record of one or many sites, as its readers see it."""

    def sites(self) -> list[str]:
        """Names of the sites in the record, sorted."""

    def events(self, site: str, span: Span | None = None, kinds: Collection[EventKind] = ()) -> list[Event]:
        """Events that overlap *span* (all time if None), of these *kinds* (all if empty), by start."""

    def watched(self, site: str, span: Span) -> list[Span]:
        """When a daemon was alive: disjoint, in order, cut to *span*. All other time is unobserved."""

    def series(self, site: str) -> list[Series]:
        """Every series that the site ever had, in a stable order."""

    def blocks(self, site: str, span: Span, series: Sequence[Series] | None = None) -> Iterator[MinuteBlock]:
        """Blocks of the minutes that begin within *span*, by minute, of these *series* (all if None)."""

    def raw_from(self, site: str) -> int:
        """The instant (Unix nanoseconds) before which no minute has its raw arrays any more; later ones may."""

    def sums(self, site: str, span: Span, series: Sequence[Series] | None = None) -> Iterator[HourSums]:
        """Sums over the same minutes by hour of UTC, in order of time; an hour that *span* cuts has those within."""

    def minutes(self, site: str, span: Span, series: Sequence[Series] | None = None) -> Iterator[HourMinutes]:
        """The same minutes themselves by hour of UTC, in order of time: a month of blocks takes twice as long."""

    def measurements(
        self, site: str, span: Span | None = None, kind: MeasurementKind | None = None, uplink: str | None = None
    ) -> list[Measurement]:
        """Measurements of this *kind* and *uplink* (all if None) that began within *span* (all time), by begin."""

    def recall(self, key: str, site: str | None = None) -> Json:
        """What the daemon remembered under *key*, None if nothing; *site* may be left out where there is one."""


class Keeper(Protocol):
    """The daemon's side of the store. Every method may be called from the event loop and returns at once.

    When the disk is full or read-only, what was handed over waits in memory (bounded; samples are given up before
    events) and is written when writing works again. Nothing raises.
    """

    def sample(self, sample: Sample) -> None:
        """Add a sample to its minute."""

    def afterword(self, afterword: Afterword) -> None:
        """Correct the minute of a sample that was told already: lost becomes late, or duplicated grows by one."""

    def sighting(self, seen: Observation | Learnt) -> None:
        """Keep what *seen* says besides the samples, where it is news; it takes the samples' own news by itself."""

    async def event(self, event: Event) -> bool:
        """Commit an event, new or told again. Returns once it is on disk: True; False if it has to wait in memory."""

    async def measurement(self, measured: Measurement) -> bool:
        """Commit what was measured on purpose. Returns once it is on disk: True; False if it has to wait in memory."""

    def remember(self, key: str, value: Json) -> None:
        """Keep a small value across restarts, such as the carrying uplink, under *key*."""
