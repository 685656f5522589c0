"""Lookout: what the daemon's /health and the record say of the office while a drill goes on."""

from dataclasses import replace
from typing import Any, Final

from wanwatch.config import Config
from wanwatch.config.plan import store_path
from wanwatch.core.drill import CONNECTIONS, NAMES, Drill, Evidence, Said, Step, View, settled, speed, tally, wanted
from wanwatch.core.model import NS_PER_S, SWITCHES, Event, EventKind, MeasurementKind, Span, State
from wanwatch.core.ports import Clock, Record
from wanwatch.store import SqliteRecord
from wanwatch.web.ask import NoDaemonError, ask_health

_FOR_EVER_NS: Final = 1 << 62
_MINUTE_NS: Final = 60 * NS_PER_S
_MONTH_NS: Final = 31 * 86_400 * NS_PER_S
"""A speed test so old still says what the second line can do."""
_RECORD_EVERY_NS: Final = NS_PER_S
"""The whole list of events is read each time, so not more often."""


class Lookout:
    """Looks at one site's daemon and record.

    Args:
        config: The configuration that the daemon runs with.
        clock: Where time comes from.
    """

    def __init__(self, config: Config, clock: Clock) -> None:
        self._config, self._clock = config, clock
        self._path = store_path(config)
        self._read_ns = -_RECORD_EVERY_NS
        self._settled = False

    def now(self, said: Said = Said.NOTHING) -> View:
        """Return how things stand; a view without states where the daemon does not answer."""
        listen = self._config.listen
        health: Any = ask_health(listen.address, listen.port, self._path.parent)
        at_ns = self._clock.now_ns()
        if health is None or health.get("site") != self._config.site.name:
            return View(at_ns=at_ns, states={}, said=said)
        return View(
            at_ns=at_ns,
            states={uplink["name"]: State(uplink["state"]) for uplink in health["uplinks"]},
            carrying=health["carrying"]["uplink"],
            known=health["carrying"]["known"],
            said=said,
        )

    def first(self) -> View:
        """Return how things stand before a drill.

        Raises:
            NoDaemonError: Nobody watches.
        """
        view = self.now()
        if not view.states:
            raise NoDaemonError(str(self._config.listen.place))
        return view

    def follow(self, drill: Drill, start_unix_ns: int, said: Said) -> View:
        """Return how things stand in a drill, with whether the record holds the judge's last words of it."""
        view = self.now(said)
        if drill.step is Step.SETTLING and view.at_ns - self._read_ns >= _RECORD_EVERY_NS:
            self._read_ns = view.at_ns
            self._settled = self._is_settled(drill, start_unix_ns)
        return replace(view, settled=self._settled)

    def evidence(self, drill: Drill, start_unix_ns: int) -> Evidence:
        """Return what the record holds of a drill that is over."""
        with SqliteRecord(self._path) as record:
            events = self._own_events(record, start_unix_ns)
            evidence = Evidence(events=events, needs_bps=self._config.site.drill_needs_bps)
            if drill.second is None:
                return evidence
            span = _on_second(drill, events, start_unix_ns)
            site = self._config.site.name
            series = wanted(record.series(site), drill.second)
            whole = Span(span.start_unix_ns - _MINUTE_NS, span.end_unix_ns)
            blocks = list(record.blocks(site, whole, series))
            recent = Span(span.end_unix_ns - _MONTH_NS, self._clock.now_unix_ns() + 1)
            tests = record.measurements(site, recent, MeasurementKind.SPEED, drill.second)
        names, connections = (tally(blocks, kinds, drill.second, span) for kinds in (NAMES, CONNECTIONS))
        return replace(evidence, names=names, connections=connections, speed=speed(tests))

    def left_open(self) -> list[Event]:
        """Return drills whose records have no end."""
        with SqliteRecord(self._path) as record:
            drills = record.events(self._config.site.name, None, [EventKind.DRILL])
        return [drill for drill in drills if drill.end is None]

    def _is_settled(self, drill: Drill, start_unix_ns: int) -> bool:
        """Whether the record holds the judge's last words, and all samples until traffic was home.

        Samples are written some seconds late, in one commit with the mark that the daemon is alive.
        """
        home_unix_ns = _unix_ns(drill, Step.SETTLING, start_unix_ns) or start_unix_ns
        with SqliteRecord(self._path) as record:
            written_unix_ns = record.last_alive(self._config.site.name, self._clock.now_unix_ns())
            events = self._own_events(record, start_unix_ns)
        return settled(drill, events) and written_unix_ns is not None and written_unix_ns >= home_unix_ns

    def _own_events(self, record: Record, start_unix_ns: int) -> list[Event]:
        """What began since the drill was announced; what went on before it belongs to something else."""
        found = record.events(self._config.site.name, Span(start_unix_ns, _FOR_EVER_NS))
        return [event for event in found if event.start.latest_unix_ns >= start_unix_ns]


def _on_second(drill: Drill, events: list[Event], start_unix_ns: int) -> Span:
    """When traffic was on the second line: by the judge's switches, or else as it was seen to be there."""
    came = [(e.end or e.start).latest_unix_ns for e in events if e.kind in SWITCHES and e.to_uplink == drill.second]
    left = [e.start.earliest_unix_ns for e in events if e.kind in SWITCHES and e.from_uplink == drill.second]
    start = next(iter(came), None) or _unix_ns(drill, Step.SECOND, start_unix_ns) or start_unix_ns
    over = (_unix_ns(drill, step, start_unix_ns) for step in (Step.SETTLING, Step.GIVEN_UP))
    end = next(iter(left), None) or next((at for at in over if at is not None), start)
    return Span(start, end)


def _unix_ns(drill: Drill, step: Step, start_unix_ns: int) -> int | None:
    """When a step was entered (wall clock, by the time since the yes); None if it was not."""
    entered = drill.when(step)
    return None if entered is None else start_unix_ns + entered.view.at_ns - drill.passed[0].view.at_ns
