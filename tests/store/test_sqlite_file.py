"""What is the SQLite store's own: its file, its lock, its schema."""

import asyncio
import os
import re
import sqlite3
import sys
from importlib.resources import files
from pathlib import Path

import pytest

from tests.fakes.clock import FakeClock
from tests.store.backends import ALWAYS, SITE, SqliteBackend, blocks, event, sample
from wanwatch.store import NoRecordError, SqliteRecord, StoreError, StoreLockedError, StoreSchemaError
from wanwatch.store._schema import migrations


async def test_one_record_has_one_keeper(sqlite_backend: SqliteBackend, clock: FakeClock) -> None:
    """The second daemon is told which process keeps the record; the first is not disturbed."""
    first, second = sqlite_backend.keeper(clock), sqlite_backend.keeper(clock)
    first.open()
    with pytest.raises(StoreLockedError) as caught:
        second.open()
    assert caught.value.pid == os.getpid()
    assert str(caught.value) == (
        f"store '{sqlite_backend.path}': already kept by process {os.getpid()};"
        " stop that one, or give this one its own site.data_dir"
    )
    assert await first.event(event("outage-1", clock.now_unix_ns()))
    await first.close()
    second.open()
    await second.close()


async def test_a_killed_keepers_lock_is_free(sqlite_backend: SqliteBackend, clock: FakeClock) -> None:
    """The kernel lets go of the lock with the process; the file that stays behind stops nobody."""
    code = "import os, sys; from pathlib import Path; from wanwatch.store._lock import Lock;"
    code += " Lock(Path(sys.argv[1])).take(); os.kill(os.getpid(), 9)"
    holder = await asyncio.create_subprocess_exec(sys.executable, "-c", code, str(sqlite_backend.path))
    assert await holder.wait() == -9
    assert sqlite_backend.path.with_name("wanwatch.sqlite.lock").exists()
    keeper = sqlite_backend.keeper(clock)
    keeper.open()
    await keeper.close()


async def test_a_folder_that_is_not_there_is_made(tmp_path: Path, clock: FakeClock) -> None:
    """A first start needs no preparation."""
    backend = SqliteBackend(tmp_path / "new" / "folder", print)
    keeper = backend.keeper(clock)
    keeper.open()
    await keeper.close()
    assert backend.path.exists()


async def test_a_folder_that_cannot_be_is_told(tmp_path: Path, clock: FakeClock) -> None:
    """Path, reason and mend in one line."""
    (tmp_path / "file").touch()
    backend = SqliteBackend(tmp_path / "file", print)
    with pytest.raises(StoreError) as caught:
        backend.keeper(clock).open()
    assert str(caught.value) == (
        f"store '{backend.path}': cannot make the lock file 'wanwatch.sqlite.lock': Not a directory;"
        " check that site.data_dir exists and is writable"
    )


async def test_a_newer_schema_is_refused(sqlite_backend: SqliteBackend, clock: FakeClock) -> None:
    """An older program must not write what it does not understand; the lock is let go of again."""
    keeper = sqlite_backend.keeper(clock)
    keeper.open()
    await keeper.close()
    _execute(sqlite_backend.path, "PRAGMA user_version = 99")
    known = len(migrations())
    told = (
        f"store '{sqlite_backend.path}': its schema version is 99, this program knows no newer than {known};"
        " run the newer wanwatch that wrote it"
    )
    for _ in range(2):
        with pytest.raises(StoreSchemaError) as caught:
            sqlite_backend.keeper(clock).open()
        assert str(caught.value) == told
    with pytest.raises(StoreSchemaError) as caught:
        sqlite_backend.record()
    assert str(caught.value) == told


def test_an_older_schema_is_not_read(sqlite_backend: SqliteBackend) -> None:
    """Only the daemon migrates."""
    _execute(sqlite_backend.path, "CREATE TABLE anything (a)")
    with pytest.raises(StoreSchemaError, match="start `wanwatch run` once"):
        sqlite_backend.record()


async def test_another_programs_database_is_left_alone(sqlite_backend: SqliteBackend, clock: FakeClock) -> None:
    """A file with tables and no schema version is not ours."""
    _execute(sqlite_backend.path, "CREATE TABLE customer (name)")
    with pytest.raises(StoreError, match="is a database of another program"):
        sqlite_backend.keeper(clock).open()
    with sqlite3.connect(sqlite_backend.path) as db:
        tables = db.execute("SELECT name FROM sqlite_master").fetchall()
    db.close()
    assert tables == [("customer",)]


async def test_a_damaged_file_is_refused_when_starting(sqlite_backend: SqliteBackend, clock: FakeClock) -> None:
    """Waiting does not mend it, and writing over it would lose what a person may still save."""
    sqlite_backend.path.write_bytes(b"no database at all, but long enough to be looked at" * 100)
    with pytest.raises(StoreError, match="is damaged: file is not a database; move it away"):
        sqlite_backend.keeper(clock).open()
    with pytest.raises(StoreError, match="cannot be read: file is not a database"):
        sqlite_backend.record()


def test_a_missing_record_is_told(tmp_path: Path) -> None:
    """Reading makes no file."""
    with pytest.raises(NoRecordError, match=r"no such file; check site\.data_dir"):
        SqliteRecord(tmp_path / "nothing.sqlite")
    assert list(tmp_path.iterdir()) == []


async def test_a_record_is_read_while_it_is_written_and_cannot_write(
    sqlite_backend: SqliteBackend, clock: FakeClock
) -> None:
    """A reader sees what was committed before each question, and holds no writer up."""
    keeper = sqlite_backend.keeper(clock)
    keeper.open()
    assert await keeper.flush()
    with sqlite_backend.record() as record:
        halfway = record.blocks(SITE, ALWAYS)
        for number in range(3):
            keeper.sample(sample(clock))
            assert await keeper.event(event(f"outage-{number}", clock.now_unix_ns()))
            assert await keeper.flush()
            assert len(record.events(SITE)) == number + 1
            clock.advance(60)
        assert len(list(halfway)) == 3
        with pytest.raises(sqlite3.OperationalError, match="readonly"):
            record._db.execute("DELETE FROM event")
    await keeper.close()


async def test_every_table_carries_a_site_and_the_file_is_a_log(
    sqlite_backend: SqliteBackend, clock: FakeClock
) -> None:
    """A store may hold many sites; WAL lets readers and the writer pass; FULL outlives a power cut."""
    keeper = sqlite_backend.keeper(clock)
    keeper.open()
    assert await keeper.flush()
    db = keeper._writer._ledger
    assert db is not None
    modes = [db._db.execute(f"PRAGMA {name}").fetchone()[0] for name in ("journal_mode", "synchronous")]
    tables = [row[0] for row in db._db.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
    columns = {table: {row[1] for row in db._db.execute(f"PRAGMA table_info({table})")} for table in tables}
    await keeper.close()
    assert modes == ["wal", 2]
    assert set(tables) == {"site", "series", "minute", "event", "alive", "note", "sighting", "measurement", "post"}
    # A minute's key holds its series, which holds its site.
    assert all("site_id" in columns[table] for table in tables if table not in {"site", "minute"})


def test_migrations_are_numbered_without_a_gap() -> None:
    """The number in the name is the schema version that the file brings."""
    names = sorted(file.name for file in (files("wanwatch.store") / "migrations").iterdir())
    assert [int(name[:4]) for name in names] == list(range(1, len(names) + 1))
    assert all(re.fullmatch(r"\d{4}_[a-z_]+\.sql", name) for name in names)


async def test_a_migration_that_fails_changes_nothing(
    sqlite_backend: SqliteBackend, clock: FakeClock, monkeypatch: pytest.MonkeyPatch, told: list[str]
) -> None:
    """All of a step or none of it; then the daemon watches on, and says that it cannot write."""
    keeper = sqlite_backend.keeper(clock)
    keeper.open()
    keeper.sample(sample(clock))
    await keeper.close()
    broken = [*migrations(), "CREATE TABLE half (a INTEGER); CREATE TABLE half (a INTEGER);"]
    monkeypatch.setattr("wanwatch.store._schema.migrations", lambda: broken)
    later = sqlite_backend.keeper(clock)
    later.open()
    await later.close()
    monkeypatch.undo()
    assert "cannot write: table half already exists" in told[0]
    assert len(blocks(sqlite_backend)) == 1  # still of the former version, and whole


def _execute(path: Path, sql: str) -> None:
    db = sqlite3.connect(path)
    db.execute(sql)
    db.close()
