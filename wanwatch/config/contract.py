"""What an uplink's contract promises: clauses with their limits, and what is owed when they are broken."""

from datetime import date
from decimal import Decimal
from typing import Annotated, Final, Literal, TypeAlias

from pydantic import Field

from wanwatch.config.fields import Day, DayHours, Duration, Fee, Rate, Share, Table, Text, Whole

Exclusion: TypeAlias = Literal[
    "planned-work", "drill", "our-side", "gateway", "access-line", "provider", "far-end", "names"
]
Statistic: TypeAlias = Literal["mean", "p50", "p90", "p95", "p99", "p99.9", "max"]
CountsOut: TypeAlias = tuple[Exclusion, ...]
Within: TypeAlias = Literal["always", "working-hours"]
Over: TypeAlias = Literal["month", "quarter", "year"]

_SHARES: Final = {"floor": Decimal("0.95"), "usual": Decimal(1), "peak": Decimal("0.05")}
"""Of tests where a clause does not say: all but a few reach a floor, and a peak is there now and then."""


class AvailabilityClause(Table):
    """The share of the observed time in which the line was not down."""

    measure: Literal["availability"]
    """What is promised: `availability`."""
    at_least: Share
    """The share of time promised, such as `99.9%`."""
    counts_out: CountsOut = ()
    """Downtime that the contract does not count: `planned-work`, `drill`, or a fault domain such as `our-side`."""
    within: Within = "always"
    """The time in which it counts: `always`, or `working-hours` (of the site, without its holidays)."""
    per: Over = "month"
    """The time that it is judged over: `month`, `quarter` or `year` of the calendar."""


class RepairClause(Table):
    """How long any one outage may last."""

    measure: Literal["repair"]
    """What is promised: `repair`."""
    at_most_ns: Duration = Field(alias="at_most")
    """The longest that an outage may last, such as `24h`; with `within`, counted in working time."""
    counts_out: CountsOut = ()
    """Outages that the contract does not count, as for availability."""
    within: Within = "always"
    """The time in which it counts: `always`, or `working-hours` (of the site, without its holidays)."""
    per: Over = "month"
    """The time that it is judged over: `month`, `quarter` or `year` of the calendar."""


class OutagesClause(Table):
    """How many outages there may be."""

    measure: Literal["outages"]
    """What is promised: `outages`."""
    at_most: Annotated[Whole, Field(ge=0)]
    """The most outages in the time, such as `2`."""
    longer_than_ns: Duration | None = Field(default=None, alias="longer_than")
    """Only outages longer than this count; all of them if left out."""
    counts_out: CountsOut = ()
    """Outages that the contract does not count, as for availability."""
    per: Over = "month"
    """The time that it is judged over: `month`, `quarter` or `year` of the calendar."""


class DelayClause(Table):
    """The round-trip time, or its variation, to a target."""

    measure: Literal["delay", "delay-variation"]
    """What is promised: `delay` (round-trip time) or `delay-variation` (PDV, RFC 5481: above the hour's least)."""
    target: Text
    """The target that it is measured to, by its name."""
    statistic: Statistic
    """Which figure of the time's samples: `mean`, `p50`, `p90`, `p95`, `p99`, `p99.9` or `max`."""
    at_most_ns: Duration = Field(alias="at_most")
    """The largest value promised, such as `15ms`."""
    hours: DayHours | None = None
    """Hours of each day that the promise covers, such as `20:00-22:00`; all day if left out."""
    counts_out: CountsOut = ()
    """What the contract does not count, as for availability."""
    per: Over = "month"
    """The time that it is judged over: `month`, `quarter` or `year` of the calendar."""


class LossClause(Table):
    """The share of probes that got no answer in time."""

    measure: Literal["loss"]
    """What is promised: `loss`."""
    target: Text | None = None
    """The target that it is measured to; all of the uplink's line targets together if left out."""
    at_most: Share
    """The largest share of loss promised, such as `0.1%`."""
    hours: DayHours | None = None
    """Hours of each day that the promise covers; all day if left out."""
    counts_out: CountsOut = ()
    """What the contract does not count, as for availability."""
    per: Over = "month"
    """The time that it is judged over: `month`, `quarter` or `year` of the calendar."""


class NamesClause(Table):
    """The share of questions that the provider's resolvers answered."""

    measure: Literal["names"]
    """What is promised: `names`."""
    at_least: Share
    """The share of answers promised, such as `99.9%`."""
    hours: DayHours | None = None
    """Hours of each day that the promise covers; all day if left out."""
    counts_out: CountsOut = ()
    """What the contract does not count, as for availability."""
    per: Over = "month"
    """The time that it is judged over: `month`, `quarter` or `year` of the calendar."""


class SpeedClause(Table):
    """Speed in one direction that a share of tests reaches: of `floor`, `usual` and `peak` exactly one."""

    measure: Literal["speed-down", "speed-up"]
    """What is promised: `speed-down` or `speed-up`."""
    floor_bps: Rate | None = Field(default=None, alias="floor")
    """The guaranteed minimum, such as `450Mbps`: reached in `share` of tests, or in 95% of them."""
    usual_bps: Rate | None = Field(default=None, alias="usual")
    """The speed usually reached, such as `810Mbps`; needs `share`."""
    peak_bps: Rate | None = Field(default=None, alias="peak")
    """The maximum as it is advertised, such as `900Mbps`: reached in `share` of tests, or in 5% of them."""
    share: Share | None = None
    """The share of tests that must reach it, such as `90%`."""
    hours: DayHours | None = None
    """Hours of each day that the promise covers; all day if left out."""
    counts_out: CountsOut = ()
    """Tests that the contract does not count, by when they ran, as for availability."""
    per: Over = "month"
    """The time that it is judged over: `month`, `quarter` or `year` of the calendar."""

    @property
    def promised(self) -> tuple[str, int, Decimal]:
        """Which kind of speed it is, the speed in bits a second, and the share of tests that must reach it."""
        speeds = {"floor": self.floor_bps, "usual": self.usual_bps, "peak": self.peak_bps}
        kind, bps = next((kind, bps) for kind, bps in speeds.items() if bps is not None)
        return kind, bps, _SHARES[kind] if self.share is None else self.share


class FailoverClause(Table):
    """How long a switch to another uplink may leave people cut off."""

    measure: Literal["failover"]
    """What is promised: `failover`."""
    at_most_ns: Duration = Field(alias="at_most")
    """The longest interruption promised, such as `30s`."""
    counts_out: CountsOut = ()
    """What the contract does not count, as for availability."""
    per: Over = "month"
    """The time that it is judged over: `month`, `quarter` or `year` of the calendar."""


Clause: TypeAlias = Annotated[
    AvailabilityClause
    | RepairClause
    | OutagesClause
    | DelayClause
    | LossClause
    | NamesClause
    | SpeedClause
    | FailoverClause,
    Field(discriminator="measure"),
]


class CreditStep(Table):
    """One step of what is paid back when availability was too low."""

    below: Share
    """The step holds where the month's availability is below this share."""
    share_of_fee: Share
    """The share of the month's fee that is paid back."""


class CreditDay(Table):
    """What is paid back for each day of an outage that was not mended in time."""

    amount: Fee
    """The sum for each calendar day, such as `8.00 GBP`."""
    after: Annotated[Whole, Field(ge=0)]
    """How many whole working days after the one on which it broke are the provider's own, such as `2`."""
    counts_out: CountsOut = ()
    """Outages that the contract does not count, as for availability."""


class Contract(Table):
    """What the provider of an uplink has promised."""

    provider: Text
    """The provider's name, as it stands in reports."""
    reference: Text | None = None
    """The contract's number, as the provider knows it."""
    starts: Day | None = None
    """The first day of the contract."""
    ends: Day | None = None
    """The last day of the contract, if it has one."""
    down_mbps: Annotated[Whole, Field(gt=0)] | None = None
    """The speed sold towards the site, in Mbit/s."""
    up_mbps: Annotated[Whole, Field(gt=0)] | None = None
    """The speed sold away from the site, in Mbit/s."""
    fee: Fee | None = None
    """The month's fee with its currency, such as `120.00 GBP`; credits are shares of it."""
    clauses: tuple[Clause, ...] = Field(default=(), alias="clause")
    """The promises, each with its limit."""
    credit: tuple[CreditStep, ...] = ()
    """Steps of what is paid back; the lowest step that holds is the one that counts."""
    credit_day: CreditDay | None = None
    """What is paid back for each day of a long outage."""
    credit_cap: Share | None = None
    """The most that is paid back for a month, as a share of the fee, such as `100%`."""

    def covers(self, day: date) -> bool:
        """Whether it is in force on a *day* of the site's calendar."""
        return (self.starts is None or self.starts <= day) and (self.ends is None or day <= self.ends)
