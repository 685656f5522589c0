"""Reading minutes: one by one, or by the hour, as sums or as columns.

By the hour SQLite is asked for one hour after the other, up to what there is: what it groups it sorts, and a month at
once takes half as long again.
"""

import json
import sqlite3
from collections import defaultdict
from collections.abc import Iterator, Sequence
from typing import Final

from wanwatch.core.model import Series, Span
from wanwatch.core.ports import HourMinutes, HourSums, MinuteBlock
from wanwatch.store._blocks import NS_PER_MINUTE
from wanwatch.store._rows import BLOCK_COLUMNS, SERIES_BITS, SERIES_MASK, Row, block_key, block_of, series_of

SERIES: Final = (
    "SELECT uplink, target, kind, role, series.id FROM series JOIN site ON site.id = site_id"
    " WHERE name = ? ORDER BY series.id"
)
_OF_SERIES: Final = (
    f"FROM minute WHERE key >= ? AND key < ? AND (key & {SERIES_MASK}) IN (SELECT value FROM json_each(?))"  # noqa: S608 - our own constants
)
_BLOCKS: Final = f"SELECT key, {BLOCK_COLUMNS} {_OF_SERIES} ORDER BY key"
_COLUMNS: Final = (
    f"SELECT key & {SERIES_MASK}, key >> {SERIES_BITS}, sent, sent - refused, lost + late + malformed, refused,"
    f" offsets, rtts {_OF_SERIES} ORDER BY key"
)
_SUMS: Final = (
    f"SELECT key & {SERIES_MASK} AS series, sum((sent > 0) << ((key >> {SERIES_BITS}) % 60)),"
    f" sum(sent - refused), sum(lost + late + malformed), sum(refused) {_OF_SERIES} GROUP BY series ORDER BY series"
)
_MINUTES_AN_HOUR: Final = 60


class Minutes:
    """The minutes of one site that begin within a span, of some of its series.

    Args:
        db: The database.
        site: The site's name.
        span: The time.
        series: Which series; all if None.
    """

    def __init__(self, db: sqlite3.Connection, site: str, span: Span, series: Sequence[Series] | None) -> None:
        self._db = db
        self._known = {int(row[4]): series_of(row) for row in db.execute(SERIES, (site,))}
        self._asked = json.dumps([number for number, one in self._known.items() if series is None or one in series])
        self._first, self._stop = -(-span.start_unix_ns // NS_PER_MINUTE), -(-span.end_unix_ns // NS_PER_MINUTE)

    def blocks(self) -> Iterator[MinuteBlock]:
        """Yield them as blocks, in order of time."""
        for row in self._db.execute(_BLOCKS, (block_key(self._first), block_key(self._stop), self._asked)):
            yield block_of(self._known[row[0] & SERIES_MASK], row[0] >> SERIES_BITS, row[1:])

    def sums(self) -> Iterator[HourSums]:
        """Yield the sums of each hour of UTC, in order of time."""
        for hour, rows in self._by_hour(_SUMS):
            for number, *sums in rows:
                yield HourSums(self._known[number], hour, *sums)

    def columns(self) -> Iterator[HourMinutes]:
        """Yield the minutes of each hour of UTC, in order of time."""
        for hour, rows in self._by_hour(_COLUMNS):
            of_series: dict[int, list[Row]] = defaultdict(list)
            for row in rows:
                of_series[row[0]].append(row)
            for number, mine in of_series.items():
                _, *columns = zip(*mine, strict=True)
                yield HourMinutes(self._known[number], hour, *columns)

    def _by_hour(self, sql: str) -> Iterator[tuple[int, list[Row]]]:
        oldest, newest = self._db.execute(
            "SELECT (SELECT min(key) FROM minute), (SELECT max(key) FROM minute)"
        ).fetchone()
        if oldest is None:
            return
        first, stop = max(self._first, oldest >> SERIES_BITS), min(self._stop, (newest >> SERIES_BITS) + 1)
        for hour in range(first // _MINUTES_AN_HOUR, -(-stop // _MINUTES_AN_HOUR)):
            begin, end = max(first, hour * _MINUTES_AN_HOUR), min(stop, (hour + 1) * _MINUTES_AN_HOUR)
            yield hour, self._db.execute(sql, (block_key(begin), block_key(end), self._asked)).fetchall()
