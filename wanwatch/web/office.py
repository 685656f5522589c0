"""Office: what the pages and the JSON API are made from, and what is read of the record for them.

The record is read on another thread, one reading at a time, so that probing does not wait for a page; who asks while
nothing has happened gets the former reading.
"""

import asyncio
from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from datetime import tzinfo
from pathlib import Path
from typing import Any, Final, Protocol

from wanwatch.core.account.spans import union
from wanwatch.core.account.timeline import Stretch, probed_spans, timeline
from wanwatch.core.errors import WanwatchError
from wanwatch.core.incident import Incident, incidents_in
from wanwatch.core.model import NS_PER_S, Event, Json, MeasurementKind, Role, Span, State
from wanwatch.core.notices import PostRecord
from wanwatch.core.ports import Clock, Record
from wanwatch.publish.live import Lately

DAY_NS: Final = 86_400 * NS_PER_S
KEPT_NS: Final = 30 * DAY_NS
"""How far back lists reach unless somebody asks for more."""
_MINUTE_NS: Final = 60 * NS_PER_S
_OLD_NS: Final = 20 * NS_PER_S
"""A ribbon of a day moves by a minute at a time."""
_UNWRITTEN_NS: Final = 3 * _MINUTE_NS
"""The daemon's last minutes are not in the record yet; the state that holds now speaks for them."""
_REACH_MINUTES: Final = 2


class Kept(Record, PostRecord, Protocol):
    """The record, with its outbox."""


@dataclass(frozen=True, slots=True)
class Office:
    """Where the pages and the API have their facts from.

    Attributes:
        health: How things stand, as /health says it.
        lately: What each series showed in the last minute.
        record: Opens the record for reading; whoever opens it closes it, on the same thread.
        zone: Returns the site's time zone.
        clock: Where time comes from.
        reports: The folder of reports that were kept; it may not be there.
    """

    health: Callable[[], dict[str, Json]]
    lately: Callable[[], list[Lately]]
    record: Callable[[], AbstractContextManager[Kept]]
    zone: Callable[[], tzinfo]
    clock: Clock
    reports: Path
    _turn: asyncio.Lock = field(default_factory=asyncio.Lock, init=False, repr=False, compare=False)

    async def read(self, ask: Callable[[Kept, str], Any]) -> Any:
        """Return what *ask* finds in the record for this site, asked on another thread, one at a time.

        Raises:
            WanwatchError: The record cannot be read now.
        """
        site = str(self.health()["site"])

        def asked() -> Any:
            with self.record() as record:
                return ask(record, site)

        async with self._turn:  # several threads that reckon at once would leave the loop, and so the probes, little
            return await asyncio.to_thread(asked)


@dataclass(frozen=True, slots=True)
class Reading:
    """What the record says of the last day, and of what happened in the last month.

    Attributes:
        day: The last day, up to the instant of reading.
        states: The states of each uplink in it, in order of time.
        incidents: The latest first.
        events: The latest first.
        trouble: Why nothing could be read; None if all is well.
    """

    day: Span
    states: Mapping[str, list[Stretch]] = field(default_factory=dict)
    incidents: tuple[Incident, ...] = ()
    events: tuple[Event, ...] = ()
    trouble: str | None = None


class Reader:
    """Reads the record for the pages.

    Args:
        office: Whose.
    """

    def __init__(self, office: Office) -> None:
        self._office = office
        self._last: Reading | None = None
        self._news = 0
        self._one_at_a_time = asyncio.Lock()
        self._minutes: dict[str, set[int]] = {}

    def forget(self) -> None:
        """Something has happened: what was read is old, and so is what is just being read."""
        self._last = None
        self._news += 1

    async def read(self) -> Reading:
        """Return what the record says, at most some seconds old, and never older than what had happened by now."""
        async with self._one_at_a_time:
            now_unix_ns = self._office.clock.now_unix_ns()
            last = self._last
            if last is None or not 0 <= now_unix_ns - last.day.end_unix_ns < _OLD_NS:
                news = self._news
                last = await self._anew(Span(now_unix_ns - DAY_NS, now_unix_ns))
                self._last = last if news == self._news else None
            return last

    async def _anew(self, day: Span) -> Reading:
        health: Any = self._office.health()
        try:
            found: Reading = await self._office.read(lambda record, site: self._read(record, site, day, health))
        except WanwatchError as error:
            return Reading(day, trouble=str(error))
        return found

    def _read(self, record: Record, site: str, day: Span, health: Mapping[str, Any]) -> Reading:
        begun = Span(health["started_unix_s"] * NS_PER_S, day.end_unix_ns)
        watched = union(record.watched(site, day), [begun])
        events = record.events(site, Span(day.end_unix_ns - KEPT_NS, day.end_unix_ns + 1))
        states = {}
        for uplink in health["uplinks"]:
            probed = union(self._probed(record, site, uplink["name"], day), _now(uplink, day.end_unix_ns))
            states[uplink["name"]] = timeline(
                day, uplink["name"], events=events, watched=watched, probed=probed, now_unix_ns=day.end_unix_ns
            ).stretches()
        incidents = incidents_in(record, site, Span(day.end_unix_ns - KEPT_NS, day.end_unix_ns + 1))
        return Reading(day, states, tuple(reversed(incidents)), tuple(reversed(events)))

    def _probed(self, record: Record, site: str, uplink: str, day: Span) -> tuple[Span, ...]:
        """For which time probes of a line were kept; whole days of minutes are read once only."""
        known = self._minutes.setdefault(uplink, set())
        series = [one for one in record.series(site) if (one.uplink, one.role) == (uplink, Role.LINE)]
        first = max(day.start_unix_ns, (max(known, default=0) - 1) * _MINUTE_NS)
        known |= {block.minute for block in record.blocks(site, Span(first, day.end_unix_ns), series) if block.sent}
        known -= {minute for minute in known if minute * _MINUTE_NS < day.start_unix_ns - _MINUTE_NS}
        return probed_spans((range(minute, minute + 1) for minute in known), _REACH_MINUTES)


def _now(uplink: Mapping[str, Any], now_unix_ns: int) -> list[Span]:
    if uplink["state"] == State.UNOBSERVED:
        return []
    return [Span(max(round(uplink["since_unix_s"] * NS_PER_S), now_unix_ns - _UNWRITTEN_NS), now_unix_ns)]


def tests_of(record: Record, site: str, uplink: str | None, span: Span) -> list[Any]:
    """Return the speed tests within *span*, the latest first."""
    return record.measurements(site, span, MeasurementKind.SPEED, uplink)[::-1]
