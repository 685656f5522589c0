"""Planned work is written by a command, beside a daemon or without one, and marks what reaches into it."""

from pathlib import Path

import pytest

from tests.fakes.clock import START_UNIX_NS, FakeClock
from tests.store.backends import ALWAYS, SITE, SqliteBackend, event, sample
from wanwatch.core.model import NS_PER_S, Event, EventKind, Span
from wanwatch.core.planned import announced
from wanwatch.store import NoRecordError, SqliteRecord, StoreError, announce, withdraw

MINUTE_NS = 60 * NS_PER_S


def window(*uplinks: str, minute: int = 10) -> list[Event]:
    """Ten minutes of work."""
    start = START_UNIX_NS + minute * MINUTE_NS
    span = Span(start, start + 10 * MINUTE_NS)
    return announced(SITE, span, "splicing", uplinks=uplinks, known=["fibre", "copper"], now_unix_ns=START_UNIX_NS)


def kept(path: Path, *kinds: EventKind) -> list[Event]:
    with SqliteRecord(path) as record:
        return record.events(SITE, None, kinds)


def test_a_record_that_is_not_there_is_made(tmp_path: Path) -> None:
    """Work may be announced before the daemon's first start."""
    path = tmp_path / "new" / "folder" / "wanwatch.sqlite"
    assert announce(path, SITE, window("fibre")) == []
    assert kept(path) == window("fibre")


async def test_it_is_written_beside_a_running_keeper(sqlite_backend: SqliteBackend, clock: FakeClock) -> None:
    """Neither keeps the other from writing, and nothing of either is lost."""
    keeper = sqlite_backend.keeper(clock)
    keeper.open()
    keeper.sample(sample(clock))
    assert announce(sqlite_backend.path, SITE, window()) == []
    outage = event("outage", clock.now_unix_ns(), clock.now_unix_ns() + NS_PER_S)
    assert await keeper.event(outage)
    assert await keeper.flush()
    await keeper.close()
    assert kept(sqlite_backend.path) == [outage, *window()]
    with SqliteRecord(sqlite_backend.path) as record:
        assert sum(block.sent for block in record.blocks(SITE, ALWAYS)) == 1


async def test_what_reaches_into_it_is_marked_as_long_as_it_stands(
    sqlite_backend: SqliteBackend, clock: FakeClock
) -> None:
    """Whenever it was announced or told; the event itself is never rewritten."""
    keeper = sqlite_backend.keeper(clock)
    keeper.open()
    start = START_UNIX_NS + 12 * MINUTE_NS
    assert await keeper.event(event("outage", start, start + NS_PER_S))
    announce(sqlite_backend.path, SITE, window("fibre"))
    assert [e.planned for e in kept(sqlite_backend.path, EventKind.OUTAGE)] == [True]
    assert withdraw(sqlite_backend.path, SITE, window("fibre")[0].id)
    assert [e.planned for e in kept(sqlite_backend.path)] == [False]
    await keeper.close()


def test_a_window_is_announced_once_and_with_all_its_uplinks_or_not_at_all(tmp_path: Path) -> None:
    """A second announcement must not silently take the first one's place."""
    path = tmp_path / "wanwatch.sqlite"
    announce(path, SITE, window("fibre"))
    assert announce(path, SITE, window("copper", "fibre")) == [window("fibre")[0].id]
    assert kept(path) == window("fibre")


async def test_only_planned_work_can_be_withdrawn(sqlite_backend: SqliteBackend, clock: FakeClock) -> None:
    """What was observed stays in the record."""
    keeper = sqlite_backend.keeper(clock)
    keeper.open()
    assert await keeper.event(event("outage", START_UNIX_NS))
    assert not withdraw(sqlite_backend.path, SITE, "outage")
    await keeper.close()
    assert len(kept(sqlite_backend.path)) == 1


def test_nothing_is_withdrawn_from_a_record_that_is_not_there(tmp_path: Path) -> None:
    """A slip in the configuration must not leave an empty record behind."""
    with pytest.raises(NoRecordError):
        withdraw(tmp_path / "wanwatch.sqlite", SITE, "x")
    assert list(tmp_path.iterdir()) == []


def test_a_record_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    """Thing, value, reason and mend."""
    (tmp_path / "file").touch()
    path = tmp_path / "file" / "wanwatch.sqlite"
    with pytest.raises(StoreError) as raised:
        announce(path, SITE, window())
    assert str(raised.value) == (
        f"store '{path}': cannot be written: File exists; check that site.data_dir is writable for this user and its"
        " disk is neither full nor read-only"
    )
