"""What a report needs to know of the configuration: the lines, what was asked of them, and what was promised."""

from dataclasses import dataclass
from datetime import date, timedelta, tzinfo
from typing import Final
from zoneinfo import ZoneInfo

from wanwatch.config import Config
from wanwatch.config import contract as given
from wanwatch.config.promises import promise_of
from wanwatch.config.remarks import goodput_bps
from wanwatch.config.uplink import Uplink
from wanwatch.core.account.calendar import local_time, midnight_unix_ns
from wanwatch.core.account.clauses import Promise
from wanwatch.core.account.credits import Terms
from wanwatch.core.account.spans import intersect
from wanwatch.core.account.spells import USUAL_LEAST, Least
from wanwatch.core.account.voice import USUAL_CODEC
from wanwatch.core.account.working import WEEKDAYS, WorkingTime
from wanwatch.core.account.y1540 import USUAL_EDITION, Edition
from wanwatch.core.model import NS_PER_S, Span
from wanwatch.report.pen import Pen
from wanwatch.report.terms import terms_of

_MINUTE_S: Final = 60
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

    @property
    def reach_minutes(self) -> int:
        """For how many minutes one minute with a probe speaks."""
        every_s = self.every_ns / NS_PER_S
        return 1 if every_s <= _SURE_OF_EVERY_MINUTE_S else int(every_s // _MINUTE_S) + 2


@dataclass(frozen=True, slots=True, kw_only=True)
class DayTerms:
    """When an outage is paid for by the day.

    Attributes:
        after: How many whole working days are the provider's own.
        counts_out: Outages that do not count, as a promise has it.
    """

    after: int
    counts_out: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True, kw_only=True)
class Contract:
    """What a provider has promised for one uplink, and what is owed where that is not kept."""

    provider: str
    reference: str | None = None
    starts: date | None = None
    ends: date | None = None
    promises: tuple[Promise, ...] = ()
    terms: Terms | None = None
    days: DayTerms | None = None

    def in_force(self, period: Span, zone: tzinfo) -> tuple[Span, ...]:
        """Return the part of *period* that the contract covers: from its first day to the end of its last."""
        first, last = (local_time(at, zone).date() for at in (period.start_unix_ns, period.end_unix_ns))
        begins, ends = period.start_unix_ns, period.end_unix_ns
        if self.starts is not None and self.starts > first:
            begins = midnight_unix_ns(self.starts, zone)
        if self.ends is not None and self.ends < last:  # many write the calendar's last day where there is no end
            ends = midnight_unix_ns(self.ends + timedelta(days=1), zone)
        return intersect([period], [Span(begins, ends)])


@dataclass(frozen=True, slots=True, kw_only=True)
class UplinkPlan:
    """One line: what is asked through it, its contracts, and what its handoff carries.

    Attributes:
        name: Its name.
        contracts: One after another, by their dates.
        targets: What is asked through it.
        drill_every_ns: How often its failover is to be rehearsed; None where nobody asks for it.
        best_bps: The most that TCP can carry over its handoff, in bits of payload a second; None where not known.
    """

    name: str
    contracts: tuple[Contract, ...] = ()
    targets: tuple[TargetPlan, ...] = ()
    drill_every_ns: int | None = None
    best_bps: int | None = None

    @property
    def reach_minutes(self) -> int:
        """For how many minutes one minute with a probe speaks, by the target that is asked most often."""
        return min((target.reach_minutes for target in self.targets), default=1)

    def contract_at(self, unix_ns: int, zone: tzinfo) -> Contract | None:
        """Return the contract in force at an instant, if there is one."""
        moment = Span(unix_ns, unix_ns + 1)
        return next((contract for contract in self.contracts if contract.in_force(moment, zone)), None)

    def target(self, name: str | None) -> TargetPlan | None:
        """Return how a target is asked, or None if it is not asked any more."""
        return next((plan for plan in self.targets if plan.name == name), None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Subject:
    """Whom a report is about.

    Attributes:
        site: The site's name.
        timezone: Name of its zone in the IANA data base.
        uplinks: Its lines, in order of preference.
        codec: The codec that calls are rated with, by its name in the configuration.
        working: Its working time.
        least: The least that the judge takes for an outage.
        y1540: The numbers that availability by intervals is reckoned with.
        note: A remark that the page shows on top, such as that its data is generated; empty for none.
        locale: By whose manner numbers and dates are written for people; None for the plain one.
    """

    site: str
    timezone: str
    uplinks: tuple[UplinkPlan, ...]
    codec: str = USUAL_CODEC
    working: WorkingTime = WEEKDAYS
    least: Least = USUAL_LEAST
    y1540: Edition = USUAL_EDITION
    note: str = ""
    locale: str | None = None

    @property
    def zone(self) -> tzinfo:
        """The zone itself."""
        return ZoneInfo(self.timezone)

    @property
    def pen(self) -> Pen:
        """What writes figures and instants for people."""
        return Pen.of(self.locale, self.zone)


def subject_of(config: Config, note: str = "") -> Subject:
    """Return what a report needs of a configuration."""
    return Subject(
        site=config.site.name,
        timezone=config.site.timezone,
        uplinks=tuple(_uplink(config, uplink) for uplink in config.uplinks),
        codec=config.voice.codec,
        working=config.site.working,
        least=Least(outage_ns=config.judge.down_after_ns, between_ns=config.judge.up_after_ns),
        y1540=config.report.edition,
        note=note,
        locale=config.site.locale,
    )


def _uplink(config: Config, uplink: Uplink) -> UplinkPlan:
    asked = [target for target in config.targets if not target.uplinks or uplink.name in target.uplinks]
    return UplinkPlan(
        name=uplink.name,
        contracts=tuple(_contract(contract) for contract in sorted(uplink.contracts, key=_begin)),
        targets=tuple(TargetPlan(name=t.name, every_ns=t.every_ns, timeout_ns=t.timeout_ns) for t in asked),
        drill_every_ns=uplink.drill_every_ns,
        best_bps=goodput_bps(uplink.handoff),
    )


def _contract(contract: given.Contract) -> Contract:
    day = contract.credit_day
    return Contract(
        provider=contract.provider,
        reference=contract.reference,
        starts=contract.starts,
        ends=contract.ends,
        promises=tuple(promise_of(clause) for clause in contract.clauses),
        terms=terms_of(contract),
        days=DayTerms(after=day.after, counts_out=frozenset(day.counts_out)) if day else None,
    )


def _begin(contract: given.Contract) -> date:
    return contract.starts or date.min
