"""Lines: each uplink at work on a report: what the record holds of it, and who gathers its samples."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TypeAlias

from wanwatch.core.account.spans import intersect
from wanwatch.core.model import UNPINNED, Event, Role, Series, Span
from wanwatch.report.gathering import Seen
from wanwatch.report.rulings import WANTED, Scope
from wanwatch.report.samples import Collector, Probes, Want
from wanwatch.report.subject import Subject, UplinkPlan

_Key: TypeAlias = tuple[Role, str, tuple[Span, ...]]


@dataclass(slots=True)
class Line:
    """One uplink at work: what the record holds of it, and where its samples go.

    Attributes:
        plan: The uplink.
        events: Its own events of the period, and those of the whole site.
        told: The same of all of the time that its promises speak of.
        answering: When it was up or impaired in the period, as far as events and watching tell.
        reached: The same for all of the time that its promises speak of.
        scopes: Its promises, each with the time that counts.
        line: Its series that speak for the line, by target.
        names: Its series that ask resolvers, by resolver.
        collectors: By target and by the time that counts.
    """

    plan: UplinkPlan
    events: list[Event]
    told: list[Event]
    answering: tuple[Span, ...]
    reached: tuple[Span, ...]
    scopes: list[Scope]
    line: dict[str, list[Series]]
    names: dict[str, list[Series]]
    collectors: dict[_Key, Collector] = field(default_factory=dict)

    def open_collectors(self, *, detailed: bool) -> None:
        """Prepare to gather, of each target, what its figures and its promises need and no more.

        Args:
            detailed: Whether the order of probes is to be told.
        """
        for target in self.line:
            self._open(Role.LINE, target, self.answering, Want.ORDER if detailed else Want.DELAYS)
        for target in self.names:
            self._open(Role.NAMES, target, self.answering, Want.DELAYS)
        for within in self.scopes:
            for role, target in self.asked_of(within):
                self._open(role, target, self.keep(within), WANTED[within.promise.measure])

    def _open(self, role: Role, target: str, keep: tuple[Span, ...], want: Want) -> None:
        collector = self.collectors.setdefault((role, target, keep), Collector(keep, want))
        collector.want |= want

    def of_series(self) -> Iterator[tuple[Series, list[Collector]]]:
        """Yield its series, each with those who gather its samples."""
        for role, by_target in ((Role.LINE, self.line), (Role.NAMES, self.names)):
            for target, many in by_target.items():
                mine = [c for (r, t, _), c in self.collectors.items() if (r, t) == (role, target)]
                yield from ((series, mine) for series in many)

    def done(self, seen: Mapping[Series, Seen]) -> "Gathered":
        """Return what was gathered, and let go of it here.

        Args:
            seen: What the minutes of its series say by themselves.
        """
        found = {}
        for role, target, keep in list(self.collectors):
            of_target = (self.line if role is Role.LINE else self.names)[target]
            probed = (run for series in of_target for run in seen[series].probed)
            found[role, target, keep] = self.collectors.pop((role, target, keep)).done(probed)
        return Gathered(self, found)

    def keep(self, within: Scope) -> tuple[Span, ...]:
        """Return the time whose samples count for a promise: the very value of `answering` where that is all of it."""
        return intersect(self.reached, within.counted)

    def asked_of(self, within: Scope) -> list[tuple[Role, str]]:
        """Return the targets or resolvers whose probes a promise rests on; none where it rests on events or tests."""
        if within.promise.measure not in WANTED:
            return []
        if within.promise.measure == "names":
            return [(Role.NAMES, resolver) for resolver in self.names]
        wanted = within.promise.target
        return [(Role.LINE, target) for target in self.line if wanted in {None, target}]


@dataclass(frozen=True, slots=True)
class Gathered:
    """What the probes of a line did."""

    line: Line
    _found: dict[_Key, Probes]

    def of_target(self, role: Role, target: str) -> Probes:
        """Return those of one target in the period, while the line answered."""
        return self._found[role, target, self.line.answering]

    def of_promise(self, within: Scope) -> list[tuple[str, Probes]]:
        """Return those that a promise rests on, by target or resolver, in the time that counts for it."""
        keep = self.line.keep(within)
        return [(target, self._found[role, target, keep]) for role, target in self.line.asked_of(within)]


def plans_of(subject: Subject, all_series: Sequence[Series]) -> list[UplinkPlan]:
    """Return the configured lines, then those that only the record knows: a line that was renamed keeps its past."""
    known = [plan.name for plan in subject.uplinks]
    recorded = {s.uplink for s in all_series if s.role is Role.LINE} - {*known, UNPINNED}
    return [*subject.uplinks, *(UplinkPlan(name=name) for name in sorted(recorded))]


def by_target(
    all_series: Sequence[Series], uplink: str, role: Role, order: Sequence[str] = ()
) -> dict[str, list[Series]]:
    """Return the series of one uplink by target: those of *order* first, in that order."""
    found: dict[str, list[Series]] = {target: [] for target in order}
    for series in all_series:
        if series.uplink == uplink and series.role is role:
            found.setdefault(series.target, []).append(series)
    return {target: many for target, many in found.items() if many}
