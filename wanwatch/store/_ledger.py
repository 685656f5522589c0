"""The writer thread's hand on the database file. Each public method is one transaction, committed to the disk."""

import sqlite3
from collections.abc import Collection, Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Final

from wanwatch.core.model import EventKind, MeasurementKind, Series
from wanwatch.store._blocks import Gathered, empty, merge
from wanwatch.store._errors import WriteError
from wanwatch.store._rows import (
    BLOCK_COLUMNS,
    EVENT_COLUMNS,
    POST_COLUMNS,
    SERIES_BITS,
    SERIES_MASK,
    Row,
    block_key,
    block_of,
    block_row,
)
from wanwatch.store._schema import connect
from wanwatch.store._sightings import SightingRow

_PUT_BLOCK: Final = (
    f"INSERT OR REPLACE INTO minute (key, {BLOCK_COLUMNS})"  # noqa: S608 - columns are our own constant
    f" VALUES ({', '.join('?' * 15)})"
)
_GET_BLOCK: Final = f"SELECT {BLOCK_COLUMNS} FROM minute WHERE key = ?"  # noqa: S608 - as above
_PUT_EVENT: Final = f"INSERT OR REPLACE INTO event (site_id, {EVENT_COLUMNS}) VALUES ({', '.join('?' * 17)})"  # noqa: S608 - as above
_PUT_NOTE: Final = "INSERT OR REPLACE INTO note (site_id, key, value) VALUES (?, ?, ?)"
_PUT_MEASUREMENT: Final = (
    "INSERT OR REPLACE INTO measurement (site_id, at, uplink, kind, result) VALUES (?, ?, ?, ?, ?)"
)
_PUT_POST: Final = (
    f"INSERT INTO post (site_id, {POST_COLUMNS}) VALUES ({', '.join('?' * 12)})"  # noqa: S608 - as above
    " ON CONFLICT DO UPDATE SET state = excluded.state, tries = excluded.tries, next_try = excluded.next_try,"
    " word = excluded.word, settled = excluded.settled, uplink = excluded.uplink WHERE state = 'waiting'"
)
_PUT_SIGHTING: Final = "INSERT OR REPLACE INTO sighting (site_id, at, about, said) VALUES (?, ?, ?, ?)"
# Two runs may begin at one instant of a clock that was set back; the longer one holds.
_PUT_ALIVE: Final = (
    "INSERT INTO alive (site_id, started, last) VALUES (?, ?, ?)"
    " ON CONFLICT DO UPDATE SET last = max(last, excluded.last)"
)
_OURS: Final = (
    f"key >= ? AND key < ? AND (key & {SERIES_MASK})"  # noqa: S608 - as above
    " IN (SELECT id FROM series WHERE site_id = ?)"
)
_EMPTY_RAW: Final = f"UPDATE minute SET offsets = x'', rtts = x'' WHERE {_OURS}"  # noqa: S608 - as above
_DELETE_MINUTES: Final = f"DELETE FROM minute WHERE {_OURS}"  # noqa: S608 - as above
_GONE: Final = "the file that was written is no longer at its place, and what it held is not in another one"


class SqliteLedger:
    """One site's rows in one file.

    Args:
        path: The database file, made if it is not there.
        site: The site's name.

    Raises:
        StoreError: The file will not do, and waiting will not mend it.
        WriteError: The file cannot be written now; so does every method.
    """

    def __init__(self, path: Path, site: str) -> None:
        with _as_write_error():
            self._db = connect(path)
            self._path, self._file = path, _file_at(path)
        self._series: dict[Series, int] = {}
        try:
            with self._transaction():
                self._db.execute("INSERT OR IGNORE INTO site (name) VALUES (?)", (site,))
                row = self._db.execute("SELECT id FROM site WHERE name = ?", (site,)).fetchone()
        except WriteError:
            self.close()
            raise
        self._site: int = row[0]

    def close(self) -> None:
        """Let go of the file; what was committed is safe whether or not this goes well."""
        with suppress(sqlite3.Error):
            self._db.close()

    def keep(self, events: Collection[Row], notes: Mapping[str, str], alive: Mapping[int, int]) -> None:
        """Commit event rows, notes (JSON texts by key) and alive spans (start to last mark)."""
        with self._transaction():
            self._db.executemany(_PUT_EVENT, ((self._site, *row) for row in events))
            self._db.executemany(_PUT_NOTE, ((self._site, *note) for note in notes.items()))
            self._put_alive(alive)

    def keep_measurements(self, rows: Collection[Row]) -> None:
        """Commit the rows of measurements."""
        with self._transaction():
            self._db.executemany(_PUT_MEASUREMENT, ((self._site, *row) for row in rows))

    def keep_posts(self, rows: Collection[Row]) -> None:
        """Commit the rows of letters; one that was settled never waits again."""
        with self._transaction():
            self._db.executemany(_PUT_POST, ((self._site, *row) for row in rows))

    def add_events(self, events: Collection[Row]) -> list[str]:
        """Commit event rows whose ids are new; if any is taken, keep none and return the taken ones."""
        with self._transaction():
            taken = [row[0] for row in events if self._has_event(row[0])]
            if not taken:
                self._db.executemany(_PUT_EVENT, ((self._site, *row) for row in events))
        return taken

    def delete_event(self, event_id: str, kind: EventKind) -> bool:
        """Delete one event of this kind; False if there was none."""
        with self._transaction():
            sql = "DELETE FROM event WHERE site_id = ? AND id = ? AND kind = ?"
            return self._db.execute(sql, (self._site, event_id, kind.value)).rowcount > 0

    def keep_minutes(
        self,
        minutes: Mapping[int, Mapping[Series, Gathered]],
        sightings: Collection[SightingRow],
        alive: Mapping[int, int],
    ) -> None:
        """Merge what was gathered of some minutes into their blocks, and mark this run alive, in one commit."""
        with self._transaction():
            for minute, gathered in minutes.items():
                self._db.executemany(_PUT_BLOCK, [self._merged(minute, *item) for item in gathered.items()])
            self._db.executemany(_PUT_SIGHTING, ((self._site, *row) for row in sightings))
            self._put_alive(alive)

    def oldest_minute(self) -> int | None:
        """Return the first minute of the file, or None."""
        with _as_write_error():
            key: int | None = self._db.execute("SELECT min(key) FROM minute").fetchone()[0]
        return None if key is None else key >> SERIES_BITS

    def raw_from_minute(self) -> int:
        """Return the minute before which raw arrays are emptied already."""
        with _as_write_error():
            row = self._db.execute("SELECT raw_from_minute FROM site WHERE id = ?", (self._site,)).fetchone()
        return int(row[0])

    def empty_raw(self, from_minute: int, to_minute: int) -> None:
        """Empty the raw arrays of the minutes from *from_minute* up to, not with, *to_minute*."""
        with self._transaction():
            self._db.execute(_EMPTY_RAW, (block_key(from_minute), block_key(to_minute), self._site))
            self._db.execute("UPDATE site SET raw_from_minute = ? WHERE id = ?", (to_minute, self._site))

    def delete_minutes(self, from_minute: int, to_minute: int) -> None:
        """Delete the blocks of the minutes from *from_minute* up to, not with, *to_minute*."""
        with self._transaction():
            self._db.execute(_DELETE_MINUTES, (block_key(from_minute), block_key(to_minute), self._site))

    def delete_ended(self, before_unix_ns: int) -> None:
        """Delete what ended before this instant, and measurements and letters that were made before it."""
        with self._transaction():
            self._db.execute("DELETE FROM event WHERE site_id = ? AND end_latest < ?", (self._site, before_unix_ns))
            self._db.execute("DELETE FROM alive WHERE site_id = ? AND last < ?", (self._site, before_unix_ns))
            self._db.execute("DELETE FROM post WHERE site_id = ? AND made < ?", (self._site, before_unix_ns))
            # What a line was handed over with stands as long as the line does.
            sql = "DELETE FROM measurement WHERE site_id = ? AND at < ? AND kind <> ?"
            self._db.execute(sql, (self._site, before_unix_ns, MeasurementKind.ACCEPTANCE.value))

    def _has_event(self, event_id: str) -> bool:
        sql = "SELECT 1 FROM event WHERE site_id = ? AND id = ?"
        return self._db.execute(sql, (self._site, event_id)).fetchone() is not None

    def delete_sightings(self, before_unix_ns: int) -> None:
        """Delete what was sighted before this instant."""
        with self._transaction():
            self._db.execute("DELETE FROM sighting WHERE site_id = ? AND at < ?", (self._site, before_unix_ns))

    def _merged(self, minute: int, series: Series, gathered: Gathered) -> Row:
        key = block_key(minute, self._series_id(series))
        row = self._db.execute(_GET_BLOCK, (key,)).fetchone()
        stored = empty(series, minute) if row is None else block_of(series, minute, row)
        return (key, *block_row(merge(stored, gathered)))

    def _series_id(self, series: Series) -> int:
        known = self._series.get(series)
        if known is None:
            self._db.execute(
                "INSERT OR IGNORE INTO series (site_id, uplink, target, kind, role) VALUES (?, ?, ?, ?, ?)",
                (self._site, *map(str, series)),
            )
            row = self._db.execute(
                "SELECT id FROM series WHERE site_id = ? AND uplink = ? AND target = ? AND kind = ? AND role = ?",
                (self._site, *map(str, series)),
            ).fetchone()
            known = self._series[series] = int(row[0])
        return known

    def _put_alive(self, alive: Mapping[int, int]) -> None:
        self._db.executemany(_PUT_ALIVE, ((self._site, *span) for span in alive.items()))

    @contextmanager
    def _transaction(self) -> Iterator[None]:
        # After a failure the caller drops the whole connection, which rolls back: a half-dead file is opened afresh.
        with _as_write_error():
            if _file_at(self._path) != self._file:
                raise FileNotFoundError(_GONE)
            self._db.execute("BEGIN IMMEDIATE")
            yield
            self._db.execute("COMMIT")


def _file_at(path: Path) -> tuple[int, int] | None:
    """Say which file stands at *path*. One that was moved or deleted can still be written, and nobody would find it."""
    try:
        found = path.stat()
    except FileNotFoundError:
        return None
    return found.st_dev, found.st_ino


@contextmanager
def _as_write_error() -> Iterator[None]:
    try:
        yield
    except (sqlite3.Error, OSError) as error:
        raise WriteError(str(error)) from error
