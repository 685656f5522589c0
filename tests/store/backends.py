"""What the contract suite asks of a store, each backend's way to give it, and makers of values to keep."""

from array import array
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Protocol

from tests.fakes.clock import FakeClock
from wanwatch.core.incident import Sign
from wanwatch.core.model import (
    NS_PER_S,
    Afterword,
    Bounds,
    Event,
    EventKind,
    Json,
    Kind,
    Outcome,
    Role,
    Sample,
    Series,
    Span,
)
from wanwatch.core.notices import Kind as Notified
from wanwatch.core.notices import Letter, Notice, Outbox, Post, PostRecord
from wanwatch.core.ports import Clock, Keeper, MinuteBlock, Record
from wanwatch.store import SqliteKeeper, SqliteRecord

SITE = "harbour-lane"
NEAR = Series("fibre", "near", Kind.ECHO, Role.LINE)
FAR = Series("copper", "far", Kind.STAMP, Role.LINE)
ALWAYS = Span(0, 2**62)


class RunningKeeper(Keeper, Outbox, Protocol):
    """A keeper as the daemon runs it."""

    def open(self) -> None:
        """Begin."""

    async def close(self) -> None:
        """End, with everything written."""

    def clock_stepped(self) -> None:
        """The wall clock was set."""

    async def flush(self) -> bool:
        """Write now."""

    async def prune(self, raw_before_unix_ns: int, before_unix_ns: int) -> bool:
        """Let go of what is old."""


class StartRecord(Record, PostRecord, Protocol):
    """A record, with what the daemon asks of it when it starts."""

    def recall(self, key: str, site: str | None = None) -> Json:
        """What was remembered."""

    def open_events(self, site: str) -> list[Event]:
        """Events without an end."""

    def last_alive(self, site: str, before_unix_ns: int) -> int | None:
        """The last alive mark of a run that started before an instant."""

    def close(self) -> None:
        """End."""


class Backend(Protocol):
    """One kind of store, empty at first."""

    def keeper(self, clock: Clock, site: str = SITE) -> RunningKeeper:
        """A keeper that is not open yet."""

    def record(self) -> StartRecord:
        """A record of what is kept now."""


class SqliteBackend:
    """The SQLite store, in one file."""

    def __init__(self, folder: Path, tell: Callable[[str], None]) -> None:
        self.path = folder / "wanwatch.sqlite"
        self._tell = tell

    def keeper(self, clock: Clock, site: str = SITE) -> SqliteKeeper:
        """A keeper that flushes only when told to, as far as a test's length goes."""
        return SqliteKeeper(self.path, site, clock, tell_trouble=self._tell)

    def record(self) -> SqliteRecord:
        """A record of the file."""
        return SqliteRecord(self.path)


def sample(
    clock: FakeClock,
    outcome: Outcome = Outcome.ANSWERED,
    rtt_us: int = 5_000,
    *,
    series: Series = NEAR,
    reordered: bool = False,
) -> Sample:
    """A probe sent now."""
    rtt_ns = rtt_us * 1_000 if outcome is Outcome.ANSWERED else None
    return Sample(series, clock.now_ns(), clock.now_unix_ns(), clock.now_ns(), outcome, rtt_ns, reordered=reordered)


def afterword(told: Sample, *, late: bool) -> Afterword:
    """An answer, three seconds after the probe was sent."""
    return Afterword(
        told.series, told.sent_ns, told.sent_unix_ns, told.sent_ns + 3 * NS_PER_S, rtt_ns=3 * NS_PER_S, late=late
    )


def bounds(unix_ns: int) -> Bounds:
    """An instant known to half a second on each side."""
    return Bounds(unix_ns, unix_ns - NS_PER_S // 2, unix_ns + NS_PER_S // 2)


def event(
    name: str,
    start_unix_ns: int,
    end_unix_ns: int | None = None,
    *,
    kind: EventKind = EventKind.OUTAGE,
    detail: Mapping[str, Json] | None = None,
) -> Event:
    """An event of the fibre line."""
    return Event(
        id=name,
        site=SITE,
        kind=kind,
        uplink="fibre",
        start=bounds(start_unix_ns),
        end=None if end_unix_ns is None else bounds(end_unix_ns),
        detail=detail or {},
    )


def words(packed: bytes) -> list[int]:
    """The words of a block's array (the machines that test are little-endian)."""
    return list(array("I", packed))


def blocks(backend: Backend, span: Span = ALWAYS) -> list[MinuteBlock]:
    """All blocks that are kept."""
    record = backend.record()
    try:
        return list(record.blocks(SITE, span))
    finally:
        record.close()


def letter(about: str, made_unix_ns: int, to: str = "mailto:ops@example.net", kind: Notified = Notified.BEGAN) -> Post:
    """A letter that waits."""
    notice = Notice(SITE, to, kind, about, made_unix_ns=made_unix_ns, lines=("fibre",), signs=(Sign.LINE_DOWN,))
    facts: dict[str, Json] = {"about": about, "note": "Zähler \u2192 0"}
    return Post(notice=notice, letter=Letter(notice.id, to, subject="fibre is down", text="It is.\n", facts=facts))
