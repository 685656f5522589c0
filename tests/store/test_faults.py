"""A disk that fails at any statement: nothing is lost, nothing is written twice, and it is told once."""

import asyncio
import sqlite3
import threading
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import pytest

from tests.fakes.clock import FakeClock
from tests.store.backends import ALWAYS, FAR, NEAR, SITE, afterword, event, sample
from wanwatch.core.model import NS_PER_S, Outcome
from wanwatch.core.ports import MinuteBlock
from wanwatch.store import SqliteKeeper, SqliteRecord
from wanwatch.store.keeper import MINUTES_IN_MEMORY


class Disk:
    """Decides which statements fail."""

    def __init__(self) -> None:
        self.statements = 0
        self.fails: Callable[[int], bool] = lambda _: False

    def touch(self) -> None:
        """Count a statement, and fail it if so decided."""
        self.statements += 1
        if self.fails(self.statements):
            error = sqlite3.OperationalError("database or disk is full")
            error.sqlite_errorcode = sqlite3.SQLITE_FULL
            raise error


@pytest.fixture
def disk(monkeypatch: pytest.MonkeyPatch) -> Disk:
    """A disk under every connection opened from here on."""
    disk = Disk()

    class Connection(sqlite3.Connection):
        """A connection whose statements may fail."""

        def execute(self, *args: Any) -> sqlite3.Cursor:
            disk.touch()
            return super().execute(*args)

        def executemany(self, sql: str, rows: Iterable[Any], /) -> sqlite3.Cursor:
            disk.touch()
            return super().executemany(sql, rows)

        def executescript(self, sql: str, /) -> sqlite3.Cursor:
            disk.touch()
            return super().executescript(sql)

    connect = sqlite3.connect
    monkeypatch.setattr(sqlite3, "connect", lambda *args, **more: connect(*args, factory=Connection, **more))
    return disk


def make_keeper(path: Path, clock: FakeClock, told: list[str]) -> SqliteKeeper:
    """A keeper that tries again at once."""
    return SqliteKeeper(path, SITE, clock, tell_trouble=told.append, retry_every_s=0.005)


async def settled(keeper: SqliteKeeper) -> None:
    """Wait until what the keeper holds is written, as the daemon would: by trying again."""
    for _ in range(2_000):
        if await keeper.flush():
            return
        await asyncio.sleep(0.005)
    pytest.fail("writing did not resume")


async def story(path: Path, clock: FakeClock, told: list[str]) -> None:
    """Something of everything that a keeper keeps."""
    keeper = make_keeper(path, clock, told)
    keeper.open()
    lost = sample(clock, Outcome.LOST)
    keeper.sample(lost)
    await keeper.flush()
    for number in range(3):
        clock.advance(9)
        keeper.sample(sample(clock, rtt_us=number, series=FAR))
        await keeper.event(event(f"outage-{number}", clock.now_unix_ns()))
        keeper.remember("carrying", number)
        await keeper.flush()
    keeper.afterword(afterword(lost, late=True))
    keeper.afterword(afterword(lost, late=False))
    await settled(keeper)
    await keeper.close()


def contents(path: Path) -> tuple[list[MinuteBlock], list[str], Any, int]:
    """What is in the record after the story."""
    with SqliteRecord(path) as record:
        (watched,) = record.watched(SITE, ALWAYS)
        names = [one.id for one in record.events(SITE)]
        return list(record.blocks(SITE, ALWAYS)), names, record.recall("carrying"), watched.length_ns


async def test_a_failure_at_any_statement_changes_nothing_in_the_end(tmp_path: Path, disk: Disk) -> None:
    """Each statement of the story fails once, from the first of the opening to the last of the closing."""
    smooth: list[str] = []
    await story(tmp_path / "smooth.sqlite", FakeClock(), smooth)
    total = disk.statements
    expected = contents(tmp_path / "smooth.sqlite")
    assert smooth == []
    assert (expected[1], expected[2]) == (["outage-0", "outage-1", "outage-2"], 2)
    assert [(block.sent, block.late, block.duplicated) for block in expected[0] if block.series == NEAR] == [(1, 1, 1)]
    for failing in range(1, total + 1):
        path, told = tmp_path / f"{failing}.sqlite", list[str]()
        disk.statements = 0
        disk.fails = failing.__eq__
        await story(path, FakeClock(), told)
        disk.fails = lambda _: False
        assert contents(path) == expected, failing
        assert len(told) in {0, 2}, told  # 0: it fell on the final checkpoint or the like, and nobody had to know


async def test_a_record_that_is_taken_away_is_told_and_another_one_begun(tmp_path: Path) -> None:
    """An open file can be written after it was moved or deleted; who reads at its place would find nothing of it."""
    path, clock, told = tmp_path / "wanwatch.sqlite", FakeClock(), list[str]()
    keeper = make_keeper(path, clock, told)
    keeper.open()
    assert await keeper.flush()
    path.rename(tmp_path / "moved.sqlite")
    assert await keeper.event(event("outage-1", clock.now_unix_ns())) is False
    await settled(keeper)
    await keeper.close()
    gone = "cannot write: the file that was written is no longer at its place, and what it held is not in another one"
    assert gone in told[0]
    with SqliteRecord(path) as record:
        assert [one.id for one in record.events(SITE)] == ["outage-1"]


async def test_a_full_disk_is_told_once_and_writing_resumes_by_itself(tmp_path: Path, disk: Disk) -> None:
    """One sentence when it begins, one when it is over; an event says that it waits, and then it is there."""
    path, clock, told = tmp_path / "wanwatch.sqlite", FakeClock(), list[str]()
    keeper = make_keeper(path, clock, told)
    keeper.open()
    assert await keeper.flush()
    disk.fails = lambda _: True
    for number in range(5):
        keeper.sample(sample(clock))
        assert await keeper.event(event(f"outage-{number}", clock.now_unix_ns())) is False
        assert await keeper.flush() is False
        clock.advance(9)
    health = [keeper.healthy]
    disk.fails = lambda _: False
    await settled(keeper)
    health.append(keeper.healthy)
    assert health == [False, True]
    await keeper.close()
    assert told == [
        (
            f"store '{path}': cannot write: database or disk is full; probing goes on, every event and up to"
            " 60 minutes of samples wait in memory; free space or make it writable, and writing resumes by itself"
        ),
        f"store '{path}': writing works again after 45 s; nothing that waited was lost",
    ]
    with SqliteRecord(path) as record:
        assert len(record.events(SITE)) == 5
        assert [block.sent for block in record.blocks(SITE, ALWAYS)] == [5]
        assert record.watched(SITE, ALWAYS)[-1].end_unix_ns == clock.now_unix_ns()


async def test_the_oldest_samples_are_given_up_first_and_events_never(tmp_path: Path, disk: Disk) -> None:
    """Memory is bounded by minutes of samples; giving up is told once, and counted when it is over."""
    path, clock, told = tmp_path / "wanwatch.sqlite", FakeClock(), list[str]()
    keeper = make_keeper(path, clock, told)
    keeper.open()
    assert await keeper.flush()
    first = clock.now_unix_ns() // (60 * NS_PER_S)
    disk.fails = lambda _: True
    for number in range(MINUTES_IN_MEMORY + 10):
        keeper.sample(sample(clock))
        await keeper.event(event(f"outage-{number:02}", clock.now_unix_ns()))
        clock.advance(60)
    assert len(keeper._gathered) == MINUTES_IN_MEMORY
    disk.fails = lambda _: False
    await settled(keeper)
    await keeper.close()
    assert told[1:] == [
        f"store '{path}': still cannot write; the oldest samples are given up from now on",
        f"store '{path}': writing works again after 4200 s; 10 samples had to be given up",
    ]
    with SqliteRecord(path) as record:
        assert len(record.events(SITE)) == MINUTES_IN_MEMORY + 10
        minutes = [block.minute - first for block in record.blocks(SITE, ALWAYS)]
    assert minutes == list(range(10, MINUTES_IN_MEMORY + 10))


async def test_a_disk_that_hangs_does_not_hold_the_loop(
    tmp_path: Path, disk: Disk, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An event waits for a bounded time, closing too, and both say so."""
    monkeypatch.setattr("wanwatch.store.keeper.EVENT_PATIENCE_S", 0.05)
    monkeypatch.setattr("wanwatch.store.keeper.CLOSE_LIMIT_S", 0.1)
    path, clock, told = tmp_path / "wanwatch.sqlite", FakeClock(), list[str]()
    keeper = make_keeper(path, clock, told)
    keeper.open()
    assert await keeper.flush()
    hang = threading.Event()
    disk.fails = lambda _: not hang.wait(30)
    try:
        assert await keeper.event(event("outage-1", clock.now_unix_ns())) is False
        keeper.sample(sample(clock))
        await keeper.close()
    finally:
        hang.set()
    assert told == [f"store '{path}': stopped without writing what still waited in memory"]
    keeper._writer.join(5)
    assert not keeper._writer._thread.is_alive()


async def test_a_fault_of_our_own_does_not_end_the_writer(tmp_path: Path, disk: Disk) -> None:
    """Whatever an attempt raises is told, and writing goes on: a dead thread would keep nothing, and say nothing."""
    path, clock, told = tmp_path / "wanwatch.sqlite", FakeClock(), list[str]()
    keeper = make_keeper(path, clock, told)
    keeper.open()
    assert await keeper.flush()

    def blunder(_: int) -> bool:
        raise TypeError

    disk.fails = blunder
    assert await keeper.event(event("outage-1", clock.now_unix_ns())) is False
    disk.fails = lambda _: False
    await settled(keeper)
    await keeper.close()
    assert "cannot write: TypeError()" in told[0]
    with SqliteRecord(path) as record:
        assert len(record.events(SITE)) == 1


async def test_a_keeper_closes_in_time_though_the_disk_is_full(tmp_path: Path, disk: Disk) -> None:
    """Stopping does not wait for a disk that fails; it tries once more and says what is lost."""
    path, clock, told = tmp_path / "wanwatch.sqlite", FakeClock(), list[str]()
    keeper = make_keeper(path, clock, told)
    keeper.open()
    assert await keeper.flush()
    disk.fails = lambda _: True
    keeper.sample(sample(clock))
    async with asyncio.timeout(20):
        await keeper.close()
    assert told[-1] == f"store '{path}': stopped without writing what still waited in memory"
