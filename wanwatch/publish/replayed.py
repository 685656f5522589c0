"""What a replay shows, for a terminal and as JSON."""

from collections.abc import Sequence
from dataclasses import asdict

from wanwatch.core.event_json import event_to_json
from wanwatch.core.instants import instant_text
from wanwatch.core.lengths import duration
from wanwatch.core.model import Json, Span
from wanwatch.core.replay import RECORDED, Outcome, Row, Tally, notes, tally
from wanwatch.publish.listing import events_text


def replay_text(table: Sequence[Row], uplinks: Sequence[str], outcome: Outcome, zone: str) -> str:
    """Show settings against outcomes; with one setting, its events as well."""
    if not outcome.span.length_ns:
        return "nothing was watched in that time\n"
    tallies = [(row.name, tally(row.events, uplinks, outcome.span)) for row in table]
    parts = [_lines(tallies), _site(tallies, sighted=outcome.sighted_since_ns is not None)]
    if any(row.ruled for row in table):
        parts.append(_verdicts(table))
    if len(table) == 2:  # noqa: PLR2004 - what was recorded, and one setting
        parts.append(events_text(table[1].events, zone))
    return "\n".join([*parts, "".join(f"{note}\n" for note in notes(outcome))])


def replay_json(table: Sequence[Row], uplinks: Sequence[str], outcome: Outcome) -> dict[str, Json]:
    """Return the same as a JSON object."""
    return {
        "since": instant_text(outcome.span.start_unix_ns),
        "until": instant_text(outcome.span.end_unix_ns),
        "samples": outcome.samples,
        "notes": [*notes(outcome)],
        "rows": [_row(row, uplinks, outcome.span) for row in table],
    }


def _row(row: Row, uplinks: Sequence[str], span: Span) -> dict[str, Json]:
    settings = None if row.settings is None else {**asdict(row.settings), "zone": str(row.settings.zone)}
    return {
        "name": row.name,
        "settings": settings,
        "tally": asdict(tally(row.events, uplinks, span)),
        "clauses": [
            {
                "uplink": one.uplink,
                "measure": one.promise.measure,
                "limit": one.promise.text,
                "verdict": one.verdict.value,
            }
            for one in row.ruled
        ],
        "events": [event_to_json(event) for event in row.events],
    }


def _lines(tallies: Sequence[tuple[str, Tally]]) -> str:
    head = ("settings", "line", "outages", "down", "impaired", "for", "names failures")
    body = (
        (name, line.uplink, line.outages, _time(line.down_s), line.impairments, _time(line.impaired_s),
         line.names_failures)
        for name, told in tallies
        for line in told.lines
    )  # fmt: skip
    return _table(head, [tuple(map(str, row)) for row in body], left=2)


def _site(tallies: Sequence[tuple[str, Tally]], *, sighted: bool) -> str:
    head = ("settings", "switches", "of them needless", "stuck", "blackouts")
    body = [
        (name, told.switches, told.needless, told.stuck, told.blackouts)
        if sighted or name == RECORDED
        else (name, *["?"] * 4)
        for name, told in tallies
    ]
    return _table(head, [tuple(map(str, row)) for row in body], left=1)


def _verdicts(table: Sequence[Row]) -> str:
    """A column for each setting, since a promise's words are longer than any verdict."""
    head = ("line", "promise", *(row.name for row in table))
    body = [
        (told[0].uplink, f"{told[0].promise.measure} {told[0].promise.text}", *(one.verdict.value for one in told))
        for told in zip(*(row.ruled for row in table), strict=True)
    ]
    return _table(head, body, left=2)


def _time(seconds: float) -> str:
    return duration(seconds) if seconds else "-"


def _table(head: Sequence[str], body: Sequence[Sequence[str]], left: int) -> str:
    """Columns side by side; the first *left* of them flush left, figures flush right."""
    widths = [max(len(row[column]) for row in (head, *body)) for column in range(len(head))]
    lines = (
        "  ".join(
            cell.ljust(width) if column < left else cell.rjust(width)
            for column, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in (head, *body)
    )
    return "\n".join(lines) + "\n"
