"""Connections to the database file, and its schema brought up to date by numbered migrations."""

import sqlite3
from importlib.resources import files
from pathlib import Path
from typing import Final
from urllib.parse import quote

from wanwatch.store._errors import NoRecordError, StoreError, StoreSchemaError

BUSY_TIMEOUT_S: Final = 5.0
_WAL_KEPT_BYTES: Final = 8_000_000


def migrations() -> list[str]:
    """Return the migrations' SQL in order; the first brings schema version 0 to 1."""
    folder = files("wanwatch.store") / "migrations"
    return [file.read_text() for file in sorted(folder.iterdir(), key=lambda file: file.name)]


def connect(path: Path) -> sqlite3.Connection:
    """Open the file for writing and bring its schema up to date.

    Raises:
        StoreSchemaError: A newer program wrote it.
        StoreError: It is damaged, or the database of another program.
        sqlite3.Error: It cannot be written now.
    """
    db = sqlite3.connect(path, timeout=BUSY_TIMEOUT_S, isolation_level=None, check_same_thread=False)
    try:
        _prepare(db, path)
    except sqlite3.DatabaseError as error:
        db.close()
        if error.sqlite_errorcode not in {sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_CORRUPT}:
            raise
        raise StoreError(path, f"is damaged: {error}", "move it away, or put a backup in its place") from error
    except BaseException:
        db.close()
        raise
    return db


def connect_read_only(path: Path) -> sqlite3.Connection:
    """Open the file for reading, beside a daemon that writes or alone.

    Raises:
        NoRecordError: There is no such file.
        StoreSchemaError: Its schema is newer or older than this program's.
        StoreError: It is no database, or must not be read by this user.
    """
    if not path.exists():
        raise NoRecordError(path)
    try:
        db = _reader(path)
        found = _version(db)
    except sqlite3.Error as error:
        raise StoreError(path, f"cannot be read: {error}", "check the file and its permissions") from error
    known = len(migrations())
    if found != known:
        db.close()
        raise StoreSchemaError(path, found, known)
    return db


def _prepare(db: sqlite3.Connection, path: Path) -> None:
    steps = migrations()
    found = _version(db)
    if found > len(steps):
        raise StoreSchemaError(path, found, len(steps))
    if found == 0 and db.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]:
        raise StoreError(path, "is a database of another program", "move it away, or set another site.data_dir")
    # A flush rewrites every page that the running minute touches, though half of each is unchanged; on pages of half
    # the usual size an office writes a seventh less a day. A file that is there already keeps the size it has.
    db.execute("PRAGMA page_size = 2048")
    db.execute("PRAGMA journal_mode = WAL")
    # FULL, not NORMAL: an event that was told, and the alive mark, must survive a power cut right after their commit.
    db.execute("PRAGMA synchronous = FULL")
    db.execute("PRAGMA foreign_keys = ON")
    db.execute(f"PRAGMA journal_size_limit = {_WAL_KEPT_BYTES}")
    for number, sql in enumerate(steps[found:], start=found + 1):
        _migrate(db, number, sql)


def _migrate(db: sqlite3.Connection, number: int, sql: str) -> None:
    try:
        db.executescript(f"BEGIN IMMEDIATE;\n{sql}\nPRAGMA user_version = {number};\nCOMMIT;")
    except sqlite3.Error:
        if db.in_transaction:
            db.execute("ROLLBACK")
        raise


def _reader(path: Path) -> sqlite3.Connection:
    where = f"file:{quote(str(path))}?mode=ro"
    # Without a daemon there is no log, and who may not write the folder cannot make one: then the file stands still.
    for uri in (where, f"{where}&immutable=1"):
        db = sqlite3.connect(uri, uri=True, timeout=BUSY_TIMEOUT_S, isolation_level=None, check_same_thread=False)
        try:
            _version(db)
        except sqlite3.OperationalError:
            db.close()
            if uri != where or path.with_name(path.name + "-wal").exists():
                raise
        else:
            return db
    raise AssertionError


def _version(db: sqlite3.Connection) -> int:
    # Reading a table makes SQLite open the log; the version alone would come from the file's head.
    db.execute("SELECT count(*) FROM sqlite_master").fetchone()
    return int(db.execute("PRAGMA user_version").fetchone()[0])
