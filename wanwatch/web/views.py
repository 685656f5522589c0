"""Views: what each page shows, as one frozen value, made from how things stand and from a reading of the record."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final
from urllib.parse import quote

from markupsafe import Markup

from wanwatch.core.account.timeline import Stretch
from wanwatch.core.apart import apart
from wanwatch.core.drill import Rehearsal, due_says
from wanwatch.core.incident import Incident
from wanwatch.core.lengths import duration
from wanwatch.core.model import NS_PER_S, Event, Json, Role, Span
from wanwatch.publish.listing import allowance_says, data_says, speed_says
from wanwatch.publish.live import Lately
from wanwatch.web.office import Reading
from wanwatch.web.ribbon import in_words, ribbon


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """What one target showed in the last minute, and how to find its cells again when it shows something else."""

    key: str
    target: str
    kind: str
    delay: str
    loss: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One uplink at this moment.

    Attributes:
        carries: Whether ordinary traffic takes it; None while nobody knows.
        since: How long its state has held, in words; None before its first.
        notes: What else is to be said of it: the downtime that is left, its last speed test, its data.
    """

    name: str
    href: str
    state: str
    since_unix_ns: int | None
    since: str | None
    carries: bool | None
    figures: tuple[Figures, ...]
    ribbon: Markup
    day: str
    stretches: Sequence[Stretch]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Status:
    """The whole office at this moment.

    Attributes:
        headline: Who carries, in a sentence.
        daemon: `ok`, or what is wrong with this program.
        drills: What is to be said of rehearsals, each with whether it is overdue.
        open: The incidents that go on.
        past: The latest of those that are over.
        reports: Names of the reports there are to read, the latest first.
    """

    site: str
    headline: str
    daemon: str
    lines: tuple[Line, ...]
    drills: tuple[tuple[str, bool], ...]
    open: tuple[Incident, ...]
    past: tuple[Incident, ...]
    reports: Sequence[str]
    day: Span
    trouble: str | None


def status(health: Mapping[str, Any], lately: Sequence[Lately], reading: Reading, reports: Sequence[str]) -> Status:
    """Put the status page together."""
    now_unix_ns = reading.day.end_unix_ns
    told = [Rehearsal.from_json(drill) for drill in health["drills"]]
    rehearsed = [replace(one, uplink=apart(one.uplink)) for one in told]
    return Status(
        site=health["site"],
        headline=headline(health["carrying"]),
        daemon=health["status"],
        lines=tuple(line(health, uplink, lately, reading) for uplink in health["uplinks"]),
        drills=tuple((due_says(one, now_unix_ns), one.overdue(now_unix_ns)) for one in rehearsed),
        open=tuple(one for one in reading.incidents if one.end is None),
        past=tuple(one for one in reading.incidents if one.end is not None)[:5],
        reports=reports,
        day=reading.day,
        trouble=reading.trouble,
    )


def line(health: Mapping[str, Any], uplink: Mapping[str, Any], lately: Sequence[Lately], reading: Reading) -> Line:
    """Put one uplink together; *uplink* is its row in *health*."""
    name = uplink["name"]
    since_unix_ns = round(uplink["since_unix_s"] * NS_PER_S) if uplink["since_unix_s"] else None
    held_ns = None if since_unix_ns is None else max(0, reading.day.end_unix_ns - since_unix_ns)
    stretches = reading.states.get(name, ())
    return Line(
        name=name,
        href=href("uplink", name),
        state=uplink["state"],
        since_unix_ns=since_unix_ns,
        since=None if held_ns is None else duration(held_ns / NS_PER_S),
        carries=name in carriers(health["carrying"]) if health["carrying"]["known"] else None,
        figures=tuple(figures(one) for one in lately if one.series.uplink == name),
        ribbon=ribbon(stretches, reading.day),
        day=in_words(stretches),
        stretches=stretches,
        notes=tuple(_notes(health, name, reading.day.end_unix_ns / NS_PER_S)),
    )


def headline(carrying: Mapping[str, Any]) -> str:
    """Say who carries ordinary traffic."""
    if not carrying["known"]:
        return "Nobody can tell which line carries the traffic"
    names = [apart(name) for name in carriers(carrying)]
    if not names:
        return "No line carries the traffic"
    if len(names) == 1:
        return f"{names[0]} carries the traffic"
    return f"{', '.join(names[:-1])} and {names[-1]} share the traffic"


def carriers(carrying: Mapping[str, Any]) -> list[str]:
    """Return the uplinks that are known to carry."""
    return list(carrying["shares"]) or ([carrying["uplink"]] if carrying["uplink"] else [])


def figures(one: Lately) -> Figures:
    """Return what a series showed, as a page writes it."""
    series = one.series
    return Figures(
        key="/".join(quote(part, safe="") for part in (series.uplink, series.target, series.kind)),
        target=series.target,
        kind=series.kind.value,
        delay="no answer" if one.delay_s is None else f"{one.delay_s * 1e3:.1f} ms",
        loss=f"{one.loss_ratio * 100:.1f} %",
    )


def told(lately: Sequence[Lately]) -> Json:
    """Return what a stream tells of the last minute: the texts of the cells, by their keys."""
    shown = (figures(one) for one in lately if one.series.role is Role.LINE)
    return [{"key": one.key, "delay": one.delay, "loss": one.loss} for one in shown]


def href(page: str, name: str) -> str:
    """Return the way to a page about something that may be called anything."""
    return f"/{page}/{quote(name, safe='')}"


def events_of(reading: Reading, uplink: str) -> tuple[Event, ...]:
    """Return what happened to an uplink, the latest first."""
    return tuple(one for one in reading.events if uplink in {one.uplink, one.from_uplink, one.to_uplink})


def _notes(health: Mapping[str, Any], name: str, now_unix_s: float) -> Iterator[str]:
    allowances, tests, data = ([row for row in health[key] if row["uplink"] == name] for key in _NOTED)
    said = [
        *(allowance_says(row) for row in allowances),
        *(speed_says(test, now_unix_s) for test in tests),
        *(data_says(row) for row in data if row["budget_bytes"] is not None),
    ]
    for note in said:
        yield note.removeprefix(f"{name}: ")


_NOTED: Final = ("allowances", "speed", "data")
