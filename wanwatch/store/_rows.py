"""Rows of the database to values and back. The order of columns is the order of the tuples."""

import json
from typing import Any, Final, TypeAlias

from wanwatch.core.model import (
    Bounds,
    Domain,
    Event,
    EventKind,
    Kind,
    Measurement,
    MeasurementKind,
    Role,
    Series,
)
from wanwatch.core.notices import Post, PostState
from wanwatch.core.notices.as_json import letter_from_json, letter_to_json, notice_from_json, notice_to_json
from wanwatch.core.ports import MinuteBlock

Row: TypeAlias = tuple[Any, ...]

EVENT_COLUMNS: Final = (
    'id, kind, uplink, start, start_earliest, start_latest, "end", end_earliest, end_latest,'
    " domain, from_uplink, to_uplink, interruption_s, planned, drill, detail"
)
BLOCK_COLUMNS: Final = (
    "sent, lost, late, refused, malformed, not_sent, reordered, duplicated,"
    " min_us, median_us, p95_us, max_us, offsets, rtts"
)

POST_COLUMNS: Final = '"to", id, made, state, tries, next_try, word, settled, uplink, notice, letter'

SERIES_BITS: Final = 24
SERIES_MASK: Final = (1 << SERIES_BITS) - 1


def block_key(minute: int, series_id: int = 0) -> int:
    """Return the key of a minute's row of one series; without a series, the first key that the minute can have."""
    return minute << SERIES_BITS | series_id


def event_row(event: Event) -> Row:
    """Return the event's columns, without its site."""
    end = event.end
    return (
        event.id,
        event.kind.value,
        event.uplink,
        event.start.estimate_unix_ns,
        event.start.earliest_unix_ns,
        event.start.latest_unix_ns,
        None if end is None else end.estimate_unix_ns,
        None if end is None else end.earliest_unix_ns,
        None if end is None else end.latest_unix_ns,
        None if event.domain is None else event.domain.value,
        event.from_uplink,
        event.to_uplink,
        event.interruption_s,
        event.planned,
        event.drill,
        json.dumps(dict(event.detail), allow_nan=False),
    )


def event_of(site: str, row: Row) -> Event:
    """Return the event of *site* that `event_row` made *row* of."""
    return Event(
        id=row[0],
        site=site,
        kind=EventKind(row[1]),
        uplink=row[2],
        start=Bounds(*row[3:6]),
        end=None if row[6] is None else Bounds(*row[6:9]),
        domain=None if row[9] is None else Domain(row[9]),
        from_uplink=row[10],
        to_uplink=row[11],
        interruption_s=row[12],
        planned=bool(row[13]),
        drill=bool(row[14]),
        detail=json.loads(row[15]),
    )


def block_row(block: MinuteBlock) -> Row:
    """Return the block's columns, without its minute and series."""
    return (
        block.sent, block.lost, block.late, block.refused, block.malformed, block.not_sent, block.reordered,
        block.duplicated, block.min_us, block.median_us, block.p95_us, block.max_us, block.offsets, block.rtts,
    )  # fmt: skip


def block_of(series: Series, minute: int, row: Row) -> MinuteBlock:
    """Return the block that `block_row` made *row* of."""
    return MinuteBlock(series, minute, *row)


def series_of(row: Row) -> Series:
    """Return the series of the columns uplink, target, kind, role."""
    return Series(row[0], row[1], Kind(row[2]), Role(row[3]))


def post_row(post: Post) -> Row:
    """Return the letter's columns, in the order of `POST_COLUMNS`."""
    notice = json.dumps(notice_to_json(post.notice), allow_nan=False)
    letter = json.dumps(letter_to_json(post.letter), allow_nan=False)
    return (
        post.notice.to, post.notice.id, post.notice.made_unix_ns, post.state.value, post.tries, post.next_try_unix_ns,
        post.word, post.settled_unix_ns, post.uplink, notice, letter,
    )  # fmt: skip


def post_of(row: Row) -> Post:
    """Return the letter that `post_row` made *row* of."""
    notice = notice_from_json(json.loads(row[9]))
    return Post(
        notice=notice,
        letter=letter_from_json(notice, json.loads(row[10])),
        state=PostState(row[3]),
        tries=row[4],
        next_try_unix_ns=row[5],
        word=row[6],
        settled_unix_ns=row[7],
        uplink=row[8],
    )


def measurement_row(measured: Measurement) -> Row:
    """Return the measurement's columns at, uplink, kind, result."""
    result = json.dumps(dict(measured.result), allow_nan=False)
    return (measured.at_unix_ns, measured.uplink, measured.kind.value, result)


def measurement_of(row: Row) -> Measurement:
    """Return the measurement that `measurement_row` made *row* of."""
    return Measurement(row[0], row[1], MeasurementKind(row[2]), json.loads(row[3]))
