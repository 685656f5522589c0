"""What a report needs to know of the configuration: the lines, what was asked of them, and what was promised."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta, tzinfo
from fractions import Fraction
from typing import Final
from zoneinfo import ZoneInfo

from wanwatch.config import Config
from wanwatch.config import contract as given
from wanwatch.config.units import Hours, show_rate, show_share
from wanwatch.config.uplink import Uplink
from wanwatch.core.account.calendar import midnight_unix_ns
from wanwatch.core.account.clauses import Promise
from wanwatch.core.account.spans import intersect
from wanwatch.core.account.voice import USUAL_CODEC
from wanwatch.core.model import NS_PER_S, Span

_MINUTE_S: Final = 60
_UNITS: Final = {"h": 3600 * NS_PER_S, "min": 60 * NS_PER_S, "s": NS_PER_S, "ms": 10**6, "us": 10**3, "ns": 1}
_SURE_OF_EVERY_MINUTE_S: Final = 30
"""Probes at most this far apart leave no minute empty, however they fall."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TargetPlan:
    """A target as it is asked through an uplink.

    Attributes:
        name: Its name.
        every_ns: Interval between probes.
        timeout_ns: Waiting time; no answered probe took longer.
    """

    name: str
    every_ns: int
    timeout_ns: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Contract:
    """What a provider has promised for one uplink."""

    provider: str
    reference: str | None = None
    starts: date | None = None
    ends: date | None = None
    promises: tuple[Promise, ...] = ()

    def in_force(self, period: Span, zone: tzinfo) -> tuple[Span, ...]:
        """Return the part of *period* that the contract covers: from its first day to the end of its last."""
        begins = midnight_unix_ns(self.starts, zone) if self.starts else period.start_unix_ns
        ends = midnight_unix_ns(self.ends + timedelta(days=1), zone) if self.ends else period.end_unix_ns
        return intersect([period], [Span(begins, ends)])


@dataclass(frozen=True, slots=True, kw_only=True)
class UplinkPlan:
    """One line: what is asked through it, its contract if it has one, how often its failover is to be rehearsed."""

    name: str
    contract: Contract | None = None
    targets: tuple[TargetPlan, ...] = ()
    drill_every_ns: int | None = None

    @property
    def reach_minutes(self) -> int:
        """For how many minutes one minute with a probe speaks, by the target that is asked most often."""
        every_s = min((target.every_ns / NS_PER_S for target in self.targets), default=1)
        return 1 if every_s <= _SURE_OF_EVERY_MINUTE_S else int(every_s // _MINUTE_S) + 2

    def timeout_ns(self, target: str) -> int | None:
        """Return the longest that a probe of *target* waits, or None if it is not asked any more."""
        return next((plan.timeout_ns for plan in self.targets if plan.name == target), None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Subject:
    """Whom a report is about.

    Attributes:
        site: The site's name.
        timezone: Name of its zone in the IANA data base.
        uplinks: Its lines, in order of preference.
        codec: The codec that calls are rated with, by its name in the configuration.
        note: A remark that the page shows on top, such as that its data is generated; empty for none.
    """

    site: str
    timezone: str
    uplinks: tuple[UplinkPlan, ...]
    codec: str = USUAL_CODEC
    note: str = ""

    @property
    def zone(self) -> tzinfo:
        """The zone itself."""
        return ZoneInfo(self.timezone)


def subject_of(config: Config, note: str = "") -> Subject:
    """Return what a report needs of a configuration."""
    return Subject(
        site=config.site.name,
        timezone=config.site.timezone,
        uplinks=tuple(_uplink(config, uplink) for uplink in config.uplinks),
        codec=config.voice.codec,
        note=note,
    )


def _uplink(config: Config, uplink: Uplink) -> UplinkPlan:
    asked = [target for target in config.targets if not target.uplinks or uplink.name in target.uplinks]
    return UplinkPlan(
        name=uplink.name,
        contract=_contract(uplink.contract) if uplink.contract else None,
        targets=tuple(TargetPlan(name=t.name, every_ns=t.every_ns, timeout_ns=t.timeout_ns) for t in asked),
        drill_every_ns=uplink.drill_every_ns,
    )


def _contract(contract: given.Contract) -> Contract:
    return Contract(
        provider=contract.provider,
        reference=contract.reference,
        starts=contract.starts,
        ends=contract.ends,
        promises=tuple(promise_of(clause) for clause in contract.clauses),
    )


def promise_of(clause: given.Clause) -> Promise:
    """Return a clause of the configuration as a promise with its exact limit in base units."""
    match clause:
        case given.AvailabilityClause():
            return Promise(
                measure=clause.measure,
                text=f"at least {show_share(clause.at_least)}",
                limit=Fraction(clause.at_least),
                at_least=True,
                counts_out=frozenset(clause.counts_out),
            )
        case given.DelayClause():
            return Promise(
                measure=clause.measure,
                text=f"{clause.statistic} at most {_length(clause.at_most_ns)}{_when(clause.hours)}",
                limit=Fraction(clause.at_most_ns, NS_PER_S),
                target=clause.target,
                statistic=clause.statistic,
                hours_min=clause.hours and (clause.hours.start_min, clause.hours.end_min),
            )
        case given.LossClause():
            return Promise(
                measure=clause.measure,
                text=f"at most {show_share(clause.at_most)}{_when(clause.hours)}",
                limit=Fraction(clause.at_most),
                target=clause.target,
                hours_min=clause.hours and (clause.hours.start_min, clause.hours.end_min),
            )
        case _:
            return _not_judged_here(clause)


def _not_judged_here(clause: given.Clause) -> Promise:
    """Return a promise whose measure this report does not judge, with its limit all the same."""
    match clause:
        case given.RepairClause() | given.FailoverClause():
            return _plain(clause.measure, f"at most {_length(clause.at_most_ns)}", clause.at_most_ns, NS_PER_S)
        case given.OutagesClause():
            return _plain(clause.measure, f"at most {clause.at_most}", clause.at_most)
        case given.NamesClause():
            words = f"at least {show_share(clause.at_least)}"
            return Promise(measure=clause.measure, text=words, limit=Fraction(clause.at_least), at_least=True)
        case given.SpeedClause():
            return _speed(clause)
        case _:  # pragma: no cover - promise_of has dealt with the others
            raise TypeError(clause)


def _speed(clause: given.SpeedClause) -> Promise:
    words = [f"never below {show_rate(clause.floor_bps)}"] if clause.floor_bps else []
    if clause.usual_bps and clause.share is not None:
        words.append(f"{show_rate(clause.usual_bps)} in {show_share(clause.share)} of tests")
    limit = clause.floor_bps or clause.usual_bps
    text = _join(words) + _when(clause.hours)
    return Promise(measure=clause.measure, text=text, limit=Fraction(limit) if limit else None, at_least=True)


def _plain(measure: str, text: str, limit: int, unit: int = 1) -> Promise:
    return Promise(measure=measure, text=text, limit=Fraction(limit, unit))


def _length(length_ns: int) -> str:
    """Say a limit exactly, in the largest unit up to hours that holds it whole: a contract says 24 h, not a day."""
    return next(f"{length_ns // ns} {unit}" for unit, ns in _UNITS.items() if length_ns % ns == 0)


def _join(words: Iterable[str]) -> str:
    return ", ".join(words)


def _when(hours: Hours | None) -> str:
    if hours is None:
        return ""
    start, end = (f"{minutes // 60:02d}:{minutes % 60:02d}" for minutes in hours)
    return f", {start} to {end}"
