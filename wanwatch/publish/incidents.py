"""Incidents for a terminal: a heading and a sentence each, and below them the time line."""

from collections.abc import Sequence
from datetime import tzinfo
from zoneinfo import ZoneInfo

from wanwatch.core.account.calendar import local_time
from wanwatch.core.incident import Entry, Incident, Words, folded, phrase, sentence, subject
from wanwatch.core.lengths import duration
from wanwatch.core.model import UNPINNED, Bounds
from wanwatch.publish.words import WHERE

WORDS = Words(name=str, length=duration, place=WHERE)
_MARGIN = "  "
_MOST = 40
"""Entries of one time line: about a screen."""


def incidents_text(found: Sequence[Incident], zone: str) -> str:
    """Tell incidents one after another, with instants in the site's zone; says so when there are none."""
    if not found:
        return "no incidents\n"
    return "\n".join(_told(one, ZoneInfo(zone)) for one in found)


def _told(one: Incident, zone: ZoneInfo) -> str:
    end = _instant(one.end, zone) if one.end else "…"
    head = f"{_instant(one.start, zone)} to {end}  {one.id}"
    return "\n".join([head, sentence(one, WORDS), *time_line(one, zone, WORDS)]) + "\n"


def time_line(one: Incident, zone: tzinfo, words: Words, rest: str = "--json has all") -> list[str]:
    """Return the time line of an incident, a line each; of a long one its two ends, and where the *rest* is."""
    first, left_out, last = folded(one.entries, _MOST)
    rows = [_row(entry, one, zone, words) for entry in (*first, *last)]
    widths = [max(len(row[column]) for row in rows) for column in range(2)]
    lines = [f"{_MARGIN}{at:>{widths[0]}}  {who:<{widths[1]}}  {what}" for at, who, what in rows]
    if left_out:
        lines.insert(len(first), f"{_MARGIN}… {left_out} entries more; {rest}")
    return lines


def _row(entry: Entry, one: Incident, zone: tzinfo, words: Words) -> tuple[str, str, str]:
    about = subject(entry.event)
    who = "traffic" if about == UNPINNED else words.name(about) if about else "site"
    return _clock(entry, one, zone), who, phrase(entry, words)


def _clock(entry: Entry, one: Incident, zone: tzinfo) -> str:
    """The time of day to the tenth; with date and offset where these are not the incident's first."""
    shown, first = (local_time(at.estimate_unix_ns, zone) for at in (entry.at, one.start))
    if (shown.date(), shown.utcoffset()) != (first.date(), first.utcoffset()):
        return shown.isoformat(sep=" ", timespec="seconds")
    return f"{shown:%H:%M:%S}.{shown.microsecond // 100_000}"


def _instant(bounds: Bounds, zone: ZoneInfo) -> str:
    return local_time(bounds.estimate_unix_ns, zone).isoformat(sep=" ", timespec="seconds")
