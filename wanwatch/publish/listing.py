"""Events and the present state as tables for a terminal."""

import textwrap
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final
from zoneinfo import ZoneInfo

from wanwatch.core.account.calendar import local_time
from wanwatch.core.drill import Rehearsal, due_says
from wanwatch.core.instants import instant_from_text
from wanwatch.core.lengths import duration
from wanwatch.core.manners import WORDS, Reason
from wanwatch.core.model import NS_PER_S, Bounds, Event, Json
from wanwatch.publish.speed import rate
from wanwatch.publish.words import sentence

_LONGEST_TEST_S: Final = 3600.0
"""No speed test takes so long: one that began earlier and has no result was stopped, or the machine was."""


def events_text(events: Sequence[Event], zone: str, columns: int | None = None) -> str:
    """List events, a line each, with their instants in the site's zone; says so when there are none.

    Where *columns* of a terminal are too few for that, each has a paragraph, with its id at the end all the same.
    """
    if not events:
        return "no events\n"
    local = ZoneInfo(zone)
    rows = [(_instant(event.start, local), _instant(event.end, local), sentence(event), event.id) for event in events]
    widths = [max(len(row[column]) for row in rows) for column in range(3)]
    lines = ["  ".join(text.ljust(width) for text, width in zip(row, [*widths, 0], strict=True)) for row in rows]
    if columns is not None and max(map(len, lines)) > columns:
        lines = [line for row in rows for line in _paragraph(row, columns)]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _paragraph(row: Sequence[str], columns: int) -> Iterator[str]:
    start, end, says, name = row
    yield f"{start}  {end}"
    yield from textwrap.wrap(says, columns, initial_indent="  ", subsequent_indent="  ", break_on_hyphens=False)
    yield f"  {name}"


def status_text(health: Mapping[str, Json], now_unix_s: float) -> str:
    """Say how things stand, from what the daemon's /health said."""
    carrying: Any = health["carrying"]
    uplinks: Any = health["uplinks"]
    shares = carrying.get("shares", ())  # a daemon that runs since before an upgrade tells none
    known = " and ".join(shares) or carrying["uplink"] or "none of them"
    who = known if carrying["known"] else "cannot be told"
    lines = [f"site      {health['site']}", f"daemon    {health['status']}", f"carrying  {who}", ""]
    width = max((len(uplink["name"]) for uplink in uplinks), default=0)
    for uplink in uplinks:
        since = f"for {duration(max(0.0, now_unix_s - uplink['since_unix_s']))}" if uplink["since_unix_s"] else ""
        lines.append(f"{uplink['name'].ljust(width)}  {uplink['state'].ljust(10)}  {since}".rstrip())
    drills: Any = health.get("drills", [])
    now_unix_ns = int(now_unix_s * NS_PER_S)
    told = [due_says(Rehearsal.from_json(drill), now_unix_ns) for drill in drills]
    told += [speed_says(test, now_unix_s) for test in _rows(health, "speed")]
    told += [allowance_says(allowance) for allowance in _rows(health, "allowances")]
    told += [data_says(data) for data in _rows(health, "data") if data["budget_bytes"] is not None]
    told += [*notices_say(health, now_unix_s), *ping_says(health)]
    return "\n".join([*lines, *([""] if told else []), *told]) + "\n"


def speed_says(test: Mapping[str, Any], now_unix_s: float) -> str:
    """Say when an uplink's speed was last tested, and what came of it."""
    ago_s = max(0.0, now_unix_s - instant_from_text(test["at"]) / NS_PER_S)
    ago = duration(ago_s)
    if test["skipped"] is not None:
        return f"{test['uplink']}: the last speed test, {ago} ago, was skipped: {WORDS[Reason(test['skipped'])]}"
    if test["unfinished"]:
        came = "has not ended" if ago_s <= _LONGEST_TEST_S else "was broken off"
        return f"{test['uplink']}: a speed test began {ago} ago and {came}"
    ways = [f"{rate(bps)} {way}" for way in ("down", "up") if (bps := test[f"{way}_bps"]) is not None]
    company = ", beside other traffic" if test.get("down_busy") or test.get("up_busy") else ""
    return f"{test['uplink']}: the last speed test, {ago} ago, gave {' and '.join(ways) or 'nothing'}{company}"


def allowance_says(allowance: Mapping[str, Any]) -> str:
    """Say how much of the downtime that its contract allows an uplink has left."""
    name, left_s = allowance["uplink"], allowance["left_s"]
    allowed, period = f"{duration(allowance['allowed_s'])} of downtime", f"this {allowance['per']}"
    if left_s is None:
        return f"{name}: its contract allows {allowed} {period}; what is left is not reckoned yet"
    if left_s < 0:
        return f"{name}: down for {duration(-left_s)} beyond the {allowed} that its contract allows {period}"
    return f"{name}: {duration(left_s)} left of the {allowed} that its contract allows {period}"


def data_says(data: Mapping[str, Any]) -> str:
    """Say how much of its data budget watching an uplink has used."""
    used, budget = data["used_bytes"] / 1e6, data["budget_bytes"] / 1e6
    spared = "; it is asked sparingly for the rest of the month" if data["sparing"] else ""
    return f"{data['uplink']}: watching has used {used:.1f} of {budget:g} MB this month{spared}"


def notices_say(health: Mapping[str, Json], now_unix_s: float) -> list[str]:
    """Say how many notices wait to be sent; nothing where none does."""
    notices: Any = health.get("notices")
    if not notices or not notices["waiting"]:
        return []
    ago = duration(max(0.0, now_unix_s - notices["oldest_unix_s"]))
    return [f"notices: {notices['waiting']} not sent yet, the oldest made {ago} ago"]


def ping_says(health: Mapping[str, Json]) -> list[str]:
    """Say what keeps the sign of life from being heard; nothing where it is, or where none is sent."""
    ping = health.get("ping")
    trouble = ping["trouble"] if isinstance(ping, dict) else None
    return [] if trouble is None else [f"ping: {trouble}"]


def _rows(health: Mapping[str, Json], key: str) -> list[Any]:
    rows: Any = health.get(key, [])  # a daemon that runs since before an upgrade tells none
    return list(rows)


def _instant(bounds: Bounds | None, zone: ZoneInfo) -> str:
    if bounds is None:
        return "…"
    return local_time(bounds.estimate_unix_ns, zone).isoformat(sep=" ", timespec="seconds")
