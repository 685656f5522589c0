"""The month's report as one frozen value: everything that a page or a data file shows, before any rendering."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import tzinfo
from fractions import Fraction
from zoneinfo import ZoneInfo

from wanwatch.core.acceptance import Item
from wanwatch.core.account.availability import MeanTimes, Times
from wanwatch.core.account.clauses import Verdict, overall
from wanwatch.core.account.figures import Bounded, Figure
from wanwatch.core.account.period import Period
from wanwatch.core.account.speed_tests import Speeds
from wanwatch.core.account.timeline import Timeline
from wanwatch.core.account.voice import Voice
from wanwatch.core.databudget import Purpose
from wanwatch.core.drill import Rehearsal
from wanwatch.core.incident import Incident
from wanwatch.core.model import Event, Span
from wanwatch.core.resolving import Sign
from wanwatch.report.accounts import Accounts
from wanwatch.report.months import MonthRow
from wanwatch.report.pen import Pen
from wanwatch.report.samples import Hour
from wanwatch.report.sequence import InOrder
from wanwatch.report.subject import Contract
from wanwatch.report.verdicts import ClauseResult, Owed, Part, worst


@dataclass(frozen=True, slots=True, kw_only=True)
class Variation:
    """How steadily one target answered; of raw samples only, over the same time as its delay.

    Attributes:
        pdv_p95_us: 95th percentile of PDV in microseconds, above the least delay of each hour; None without samples,
            `math.inf` where it falls on unanswered probes.
        pdv_p99_us: 99th percentile, likewise.
        in_order: IPDV, jitter, and the runs of loss.
        voice: How a call would be rated; None where nothing was answered.
    """

    pdv_p95_us: Figure | None
    pdv_p99_us: Figure | None
    in_order: InOrder
    voice: Voice | None


@dataclass(frozen=True, slots=True, kw_only=True)
class TargetFigures:
    """Delay and loss of one target through one line, over the time in which the line was not down.

    Attributes:
        target: The target's name, or the resolver's address.
        samples: Probes with raw samples, answered or not.
        p50_us: Median delay in microseconds; None without samples, `math.inf` where it falls on unanswered probes.
        p95_us: 95th percentile, likewise.
        p99_us: 99th percentile, likewise.
        loss: Loss ratio, None where nothing was asked.
        asked: Probes that were answered or not; without the refused.
        missed: Those without an answer in time.
        refused: Probes that somebody refused.
        raw_gone: Whether the raw samples of part of the time are not kept any more.
        hours: Hour by hour.
        variation: How steadily it answered; None for a resolver.
    """

    target: str
    samples: int
    p50_us: Figure | None
    p95_us: Figure | None
    p99_us: Figure | None
    loss: Figure | None
    asked: int
    missed: int
    refused: int
    raw_gone: bool
    hours: tuple[Hour, ...] = ()
    variation: Variation | None = None

    @property
    def success(self) -> Figure | None:
        """The share of all probes that were answered; a refusal is no answer. None where nothing was asked."""
        told = self.asked + self.refused
        return Fraction(self.asked - self.missed, told) if told else None


@dataclass(frozen=True, slots=True, kw_only=True)
class ResolverFindings:
    """What a month's inspections said of one resolver through one line.

    Attributes:
        resolver: The resolver.
        inspections: How many there were.
        rewriting: Whether it ever gave addresses for names that do not exist.
        rewrote: In how many inspections.
        sure: Whether that verdict rests on more than one sort of evidence.
        validates: Whether it always validated signatures; None where that was not asked.
        differed: Names for which another resolver gave other addresses, and in how many inspections.
    """

    resolver: str
    inspections: int
    rewriting: Sign
    rewrote: int
    sure: bool
    validates: Sign | None
    differed: tuple[tuple[str, int], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class UplinkReport:
    """One line's month.

    Attributes:
        name: Its name.
        contracts: Those of its contracts that were in force in the month.
        states: When it was in which state.
        times: How long it was in which state.
        to_come_ns: How much of the unobserved time has not come yet.
        availability: The ratio with its bounds.
        means: Mean times between outages and to restoration.
        outages: Its outages.
        others: What else happened to it.
        targets: Delay and loss of each target.
        names: Delay and answers of each resolver.
        resolving: What inspections said of each resolver.
        speed: What its speed tests came to, by direction.
        best_bps: The most that its handoff carries, in bits of payload a second; None where not known.
        clauses: What became of each promise; in a quarter or a year, of those that are judged over no less than it.
        credits: What each contract owes.
        parts: The months of a quarter or a year, with what is judged and owed by shorter times.
    """

    name: str
    contracts: tuple[Contract, ...]
    states: Timeline
    times: Times
    to_come_ns: int
    availability: Bounded
    means: MeanTimes
    outages: tuple[Event, ...]
    others: tuple[Event, ...]
    targets: tuple[TargetFigures, ...]
    names: tuple[TargetFigures, ...]
    resolving: tuple[ResolverFindings, ...]
    speed: Mapping[str, Speeds]
    best_bps: int | None
    clauses: tuple[ClauseResult, ...]
    credits: tuple[Owed, ...]
    parts: tuple[Part, ...] = ()

    @property
    def every_clause(self) -> tuple[ClauseResult, ...]:
        """What became of each promise, those of its months among them."""
        return (*self.clauses, *(clause for part in self.parts for clause in part.clauses))

    @property
    def verdict(self) -> Verdict | None:
        """The worst of its clauses' verdicts; None without clauses."""
        return worst(self.every_clause)


@dataclass(frozen=True, slots=True)
class Since:
    """One figure of an acceptance test beside the report's own.

    Attributes:
        item: What the test found, with its limit.
        now: The same figure in the report's time, in the same unit; None where there is none.
    """

    item: Item
    now: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Beside:
    """What else is known of a line.

    Attributes:
        data: The bytes that watching used, by purpose; empty where they were not counted.
        tested_unix_ns: When its first acceptance test that was finished began; None without one.
        since: Its figures beside the report's.
    """

    data: Mapping[Purpose, int]
    tested_unix_ns: int | None
    since: tuple[Since, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthReport:
    """A site's month.

    Attributes:
        site: The site's name.
        timezone: Name of its zone.
        of: Which month, or which other period.
        period: The same as a stretch of true time.
        now_unix_ns: When the report was made, or the month's end if that was before.
        note: A remark to show on top; empty for none.
        codec: The codec that calls are rated with, by its name in the configuration.
        uplinks: Its lines, in order of preference.
        switches: Every change of the carrying uplink.
        site_events: What else happened to the site as a whole or to its switching.
        all_down_ns: How long all lines were seen down at once.
        incidents: What belongs together of all that, whole also where it reaches beyond the month.
        drills: The failovers that were rehearsed.
        beside: What else is known of each line, by its name.
        months: The months before and its own last one, oldest first.
        accounts: How lines, site and people stood.
        rehearsals: When each line's failover was last rehearsed, as of the end of the report's time.
        locale: By whose manner numbers and dates are written for people; None for the plain one.
    """

    site: str
    timezone: str
    of: Period
    period: Span
    now_unix_ns: int
    note: str
    codec: str
    uplinks: tuple[UplinkReport, ...]
    switches: tuple[Event, ...]
    site_events: tuple[Event, ...]
    all_down_ns: int
    incidents: tuple[Incident, ...]
    accounts: Accounts
    months: tuple[MonthRow, ...] = ()
    beside: Mapping[str, Beside] = field(default_factory=dict)
    drills: tuple[Event, ...] = ()
    rehearsals: tuple[Rehearsal, ...] = ()
    locale: str | None = None

    @property
    def zone(self) -> tzinfo:
        """The zone itself."""
        return ZoneInfo(self.timezone)

    @property
    def pen(self) -> Pen:
        """What writes its figures and instants."""
        return Pen.of(self.locale, self.zone)

    @property
    def running(self) -> bool:
        """Whether the month is not over."""
        return self.now_unix_ns < self.period.end_unix_ns

    @property
    def verdict(self) -> Verdict | None:
        """The worst verdict of all clauses; None without clauses."""
        return overall(found for uplink in self.uplinks if (found := uplink.verdict) is not None)
