"""What a replay shows, for a terminal and as JSON."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Final

from wanwatch.core.event_json import event_to_json
from wanwatch.core.instants import instant_text
from wanwatch.core.model import NS_PER_S, Event, Json, JudgeSettings, Span
from wanwatch.core.replay import Outcome, Tally, tally
from wanwatch.publish.listing import events_text
from wanwatch.publish.words import duration

RECORDED: Final = "as recorded"
"""The row of the events that the daemon told at the time."""

_NOTES: Final = (
    "Probes were sent as the settings of then paced them, and are judged as this configuration asks them now.",
    "Where the clock was stepped or the daemon started, judging starts anew.",
)
_UNSIGHTED: Final = (
    "The record does not hold what STUN servers and the kernel's route said: switches cannot be judged again."
)
_KEPT: Final = "since then the record holds what STUN servers and the kernel's route said"
_LATE_NS: Final = 60 * NS_PER_S
"""A STUN server has answered for the first time within so long."""


@dataclass(frozen=True, slots=True)
class Row:
    """One setting's name, its events, and the setting; None for what was recorded."""

    name: str
    events: tuple[Event, ...]
    settings: JudgeSettings | None = None


def rows(recorded: Sequence[Event], tried: Sequence[tuple[str, JudgeSettings]], outcome: Outcome) -> list[Row]:
    """Put what was recorded and what each setting tried gave in one table."""
    replayed = zip(tried, outcome.events, strict=True)
    return [Row(RECORDED, tuple(recorded)), *(Row(name, events, setting) for (name, setting), events in replayed)]


def replay_text(table: Sequence[Row], uplinks: Sequence[str], outcome: Outcome, zone: str) -> str:
    """Show settings against outcomes; with one setting, its events as well."""
    if not outcome.span.length_ns:
        return "nothing was watched in that time\n"
    tallies = [(row.name, tally(row.events, uplinks, outcome.span)) for row in table]
    parts = [_lines(tallies), _site(tallies, sighted=outcome.sighted_since_ns is not None)]
    if len(table) == 2:  # noqa: PLR2004 - what was recorded, and one setting
        parts.append(events_text(table[1].events, zone))
    return "\n".join([*parts, "".join(f"{note}\n" for note in _notes(outcome))])


def replay_json(table: Sequence[Row], uplinks: Sequence[str], outcome: Outcome) -> dict[str, Json]:
    """Return the same as a JSON object."""
    return {
        "since": instant_text(outcome.span.start_unix_ns),
        "until": instant_text(outcome.span.end_unix_ns),
        "samples": outcome.samples,
        "notes": [*_notes(outcome)],
        "rows": [_row(row, uplinks, outcome.span) for row in table],
    }


def _row(row: Row, uplinks: Sequence[str], span: Span) -> dict[str, Json]:
    settings = None if row.settings is None else {**asdict(row.settings), "zone": str(row.settings.zone)}
    return {
        "name": row.name,
        "settings": settings,
        "tally": asdict(tally(row.events, uplinks, span)),
        "events": [event_to_json(event) for event in row.events],
    }


def _notes(outcome: Outcome) -> list[str]:
    notes = [f"{outcome.samples} samples were judged again.", *_NOTES]
    if outcome.hollow_minutes:
        notes.append(
            f"Raw samples of {outcome.hollow_minutes} minutes of a series are no longer kept (site.keep_raw): they are"
            " judged as not observed."
        )
    since_ns = outcome.sighted_since_ns
    if since_ns is None:
        notes.append(_UNSIGHTED)
    elif since_ns > outcome.span.start_unix_ns + _LATE_NS:
        notes.append(f"Switches can be judged again from {instant_text(since_ns)} on only: {_KEPT}.")
    return notes


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
