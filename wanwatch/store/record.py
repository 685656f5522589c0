"""The readers' side of the record: read-only, from any process, while a daemon writes or when none runs."""

import json
from collections.abc import Collection, Iterator, Sequence
from pathlib import Path
from typing import Final, Self

from wanwatch.core.marking import put_down
from wanwatch.core.model import Event, EventKind, Json, Measurement, MeasurementKind, Series, Span
from wanwatch.core.notices import Notice, Post, PostState
from wanwatch.core.notices.as_json import notice_from_json
from wanwatch.core.planned import marked
from wanwatch.core.ports import HourMinutes, HourSums, MinuteBlock
from wanwatch.core.sighting import Sighting
from wanwatch.store._blocks import NS_PER_MINUTE
from wanwatch.store._minutes import SERIES, Minutes
from wanwatch.store._rows import EVENT_COLUMNS, POST_COLUMNS, event_of, measurement_of, post_of, series_of
from wanwatch.store._schema import connect_read_only

_EVENTS: Final = f"SELECT {EVENT_COLUMNS} FROM event WHERE site_id = (SELECT id FROM site WHERE name = ?)"  # noqa: S608 - constants
_WINDOWS: Final = f"{_EVENTS} AND kind IN ('planned-work', 'drill')"
_OVERLAPS: Final = ' AND start_earliest < ? AND (start_earliest >= ? OR "end" IS NULL OR end_latest > ?)'
_SIGHTINGS: Final = (
    "SELECT at, about, said FROM sighting JOIN site ON site.id = site_id WHERE name = ? AND at >= ? AND at < ?"
    " ORDER BY at"
)
_MEASUREMENTS: Final = (
    "SELECT at, uplink, kind, result FROM measurement JOIN site ON site.id = site_id WHERE name = ?"
    " AND at >= ? AND at < ? AND kind = coalesce(?, kind) AND uplink = coalesce(?, uplink) ORDER BY at, uplink"
)
_POSTS: Final = (
    f"SELECT {POST_COLUMNS} FROM post WHERE site_id = (SELECT id FROM site WHERE name = ?)"  # noqa: S608 - constants
    ' AND made >= ? AND made < ? AND "to" = coalesce(?, "to") AND state = coalesce(?, state) ORDER BY made, rowid'
)
# Order of making is that of rows: the clock by which they say when may have been set back meanwhile.
_NOTICES: Final = (
    'SELECT notice FROM post JOIN site ON site.id = site_id WHERE name = ? AND "to" = coalesce(?, "to")'
    " ORDER BY post.rowid"
)
_ALL: Final = Span(-(1 << 63), (1 << 63) - 1)
"""From before to after all instants that a row can hold: from the year 1677 to 2262."""
_ALIVE: Final = "SELECT started, last FROM alive WHERE site_id = (SELECT id FROM site WHERE name = ?)"


class SqliteRecord:
    """The record in an SQLite file. One thread at a time.

    Args:
        path: The database file.

    Raises:
        NoRecordError: There is no such file.
        StoreSchemaError: Another version of this program wrote it.
        StoreError: It cannot be read.
    """

    def __init__(self, path: Path) -> None:
        self._db = connect_read_only(path)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the file."""
        self._db.close()

    def sites(self) -> list[str]:
        """Return the names of the sites in the record, sorted."""
        return [row[0] for row in self._db.execute("SELECT name FROM site ORDER BY name")]

    def events(self, site: str, span: Span | None = None, kinds: Collection[EventKind] = ()) -> list[Event]:
        """Return events by start: of *kinds* (all if empty), that may have been going on within *span*.

        An event reaches from its earliest start to its latest end. Like a span it is half open, except that one
        without length is in the span that it begins in. Which events reach into planned work or drills is found here,
        from the windows as they stand: a window that is announced or withdrawn needs no event to be rewritten.
        """
        sql = _EVENTS
        facts: list[str | int] = [site]
        if span is not None:
            span = _in_rows(span)
            sql += _OVERLAPS
            facts += [span.end_unix_ns, span.start_unix_ns, span.start_unix_ns]
        if kinds:
            sql += " AND kind IN (SELECT value FROM json_each(?))"
            facts.append(json.dumps([kind.value for kind in kinds]))
        found = [event_of(site, row) for row in self._db.execute(f"{sql} ORDER BY start, id", facts)]
        windows = [event_of(site, row) for row in self._db.execute(_WINDOWS, (site,))]
        return put_down(marked(found, windows))

    def open_events(self, site: str) -> list[Event]:
        """Return the events that have no end yet, by start."""
        sql = f'{_EVENTS} AND "end" IS NULL ORDER BY start, id'
        return [event_of(site, row) for row in self._db.execute(sql, (site,))]

    def watched(self, site: str, span: Span) -> list[Span]:
        """Return when a daemon was alive: disjoint, in order, cut to *span*. All other time is unobserved."""
        span = _in_rows(span)
        rows = self._db.execute(
            f"{_ALIVE} AND started < ? AND last > ? ORDER BY started", (site, span.end_unix_ns, span.start_unix_ns)
        )
        spans: list[Span] = []
        for started, last in rows:
            begin, end = max(started, span.start_unix_ns), min(last, span.end_unix_ns)
            # A clock that was stepped back makes spans overlap.
            if spans and begin <= spans[-1].end_unix_ns:
                before = spans.pop()
                begin, end = before.start_unix_ns, max(end, before.end_unix_ns)
            spans.append(Span(begin, end))
        return spans

    def last_alive(self, site: str, before_unix_ns: int) -> int | None:
        """Return when a daemon that started before an instant was last known alive (Unix nanoseconds), else None."""
        sql = f"{_ALIVE} AND started < ? ORDER BY started DESC LIMIT 1"
        row = self._db.execute(sql, (site, before_unix_ns)).fetchone()
        return None if row is None else int(row[1])

    def series(self, site: str) -> list[Series]:
        """Return every series that the site ever had, in the order in which they first spoke."""
        return [series_of(row) for row in self._db.execute(SERIES, (site,))]

    def blocks(self, site: str, span: Span, series: Sequence[Series] | None = None) -> Iterator[MinuteBlock]:
        """Yield blocks of the minutes that begin within *span*, by minute, of these *series* (all if None)."""
        yield from Minutes(self._db, site, _in_rows(span), series).blocks()

    def raw_from(self, site: str) -> int:
        """Return the instant (Unix nanoseconds) before which no minute has its raw arrays any more; later ones may."""
        row = self._db.execute("SELECT raw_from_minute FROM site WHERE name = ?", (site,)).fetchone()
        return 0 if row is None else int(row[0]) * NS_PER_MINUTE

    def sums(self, site: str, span: Span, series: Sequence[Series] | None = None) -> Iterator[HourSums]:
        """Yield sums over the same minutes by hour of UTC, in order of time."""
        return Minutes(self._db, site, _in_rows(span), series).sums()

    def minutes(self, site: str, span: Span, series: Sequence[Series] | None = None) -> Iterator[HourMinutes]:
        """Yield the same minutes themselves by hour of UTC, in order of time."""
        return Minutes(self._db, site, _in_rows(span), series).columns()

    def sightings(self, site: str, span: Span) -> Iterator[Sighting]:
        """Yield what was sighted within *span*, by instant."""
        span = _in_rows(span)
        for at, about, said in self._db.execute(_SIGHTINGS, (site, span.start_unix_ns, span.end_unix_ns)):
            yield Sighting(at, tuple(json.loads(about)), json.loads(said))

    def measurements(
        self, site: str, span: Span | None = None, kind: MeasurementKind | None = None, uplink: str | None = None
    ) -> list[Measurement]:
        """Return the measurements that began within *span* (all time if None), by their begin."""
        span = _in_rows(span or _ALL)
        rows = self._db.execute(_MEASUREMENTS, (site, span.start_unix_ns, span.end_unix_ns, kind, uplink))
        return [measurement_of(row) for row in rows]

    def posts(
        self, site: str, span: Span | None = None, to: str | None = None, state: PostState | None = None
    ) -> list[Post]:
        """Return the letters that were made within *span*, for this address, in this state, in order of making."""
        span = _in_rows(span or _ALL)
        facts = (site, span.start_unix_ns, span.end_unix_ns, to, state)
        return [post_of(row) for row in self._db.execute(_POSTS, facts)]

    def notices(self, site: str, to: str | None = None) -> list[Notice]:
        """Return all notices that were made for this address, in the order in which they were put there."""
        return [notice_from_json(json.loads(row[0])) for row in self._db.execute(_NOTICES, (site, to))]

    def recall(self, key: str, site: str | None = None) -> Json:
        """Return what was remembered under *key*, None if nothing was.

        Args:
            key: The key given to `remember`.
            site: Whose; may be left out where the record has one site.
        """
        row = self._db.execute(
            "SELECT value FROM note JOIN site ON site.id = site_id WHERE key = ? AND ? IN (name, '') ORDER BY site_id",
            (key, site or ""),
        ).fetchone()
        value: Json = None if row is None else json.loads(row[0])
        return value


def _in_rows(span: Span) -> Span:
    """Cut a span to instants that a row can hold: people may write any of the years 1 to 9999."""
    start, end = (
        min(max(unix_ns, _ALL.start_unix_ns), _ALL.end_unix_ns) for unix_ns in (span.start_unix_ns, span.end_unix_ns)
    )
    return Span(start, end)
