"""What an uplink's contract promises: clauses with their limits, and what is owed when they are broken."""

from typing import Annotated, Literal, TypeAlias

from pydantic import Field

from wanwatch.config.fields import Day, DayHours, Duration, Fee, Rate, Share, Table, Text, Whole

Exclusion: TypeAlias = Literal[
    "planned-work", "drill", "our-side", "gateway", "access-line", "provider", "far-end", "names"
]
Statistic: TypeAlias = Literal["mean", "p50", "p90", "p95", "p99", "p99.9", "max"]
CountsOut: TypeAlias = tuple[Exclusion, ...]


class AvailabilityClause(Table):
    """The share of the month's observed time in which the line was not down."""

    measure: Literal["availability"]
    """What is promised: `availability`."""
    at_least: Share
    """The share of time promised, such as `99.9%`."""
    counts_out: CountsOut = ()
    """Downtime that the contract does not count: `planned-work`, `drill`, or a fault domain such as `our-side`."""


class RepairClause(Table):
    """How long any one outage may last."""

    measure: Literal["repair"]
    """What is promised: `repair`."""
    at_most_ns: Duration = Field(alias="at_most")
    """The longest that an outage may last, such as `24h`."""
    counts_out: CountsOut = ()
    """Outages that the contract does not count, as for availability."""


class OutagesClause(Table):
    """How many outages a month may hold."""

    measure: Literal["outages"]
    """What is promised: `outages`."""
    at_most: Annotated[Whole, Field(ge=0)]
    """The most outages in a month, such as `2`."""
    longer_than_ns: Duration | None = Field(default=None, alias="longer_than")
    """Only outages longer than this count; all of them if left out."""
    counts_out: CountsOut = ()
    """Outages that the contract does not count, as for availability."""


class DelayClause(Table):
    """The round-trip time, or its variation, to a target."""

    measure: Literal["delay", "delay-variation"]
    """What is promised: `delay` (round-trip time) or `delay-variation` (PDV, RFC 5481: above the hour's least)."""
    target: Text
    """The target that it is measured to, by its name."""
    statistic: Statistic
    """Which figure of the month's samples: `mean`, `p50`, `p90`, `p95`, `p99`, `p99.9` or `max`."""
    at_most_ns: Duration = Field(alias="at_most")
    """The largest value promised, such as `15ms`."""
    hours: DayHours | None = None
    """Hours of each day that the promise covers, such as `20:00-22:00`; all day if left out."""


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


class NamesClause(Table):
    """The share of questions that the provider's resolvers answered."""

    measure: Literal["names"]
    """What is promised: `names`."""
    at_least: Share
    """The share of answers promised, such as `99.9%`."""


class SpeedClause(Table):
    """Speed in one direction: a floor that every test must reach, or a usual speed for a share of tests."""

    measure: Literal["speed-down", "speed-up"]
    """What is promised: `speed-down` or `speed-up`."""
    floor_bps: Rate | None = Field(default=None, alias="floor")
    """The speed that no test may fall below, such as `450Mbps`."""
    usual_bps: Rate | None = Field(default=None, alias="usual")
    """The speed usually reached, such as `810Mbps`; needs `share`."""
    share: Share | None = None
    """The share of tests that must reach `usual`, such as `90%`."""
    hours: DayHours | None = None
    """Hours of each day that the promise covers; all day if left out."""


class FailoverClause(Table):
    """How long a switch to another uplink may leave people cut off."""

    measure: Literal["failover"]
    """What is promised: `failover`."""
    at_most_ns: Duration = Field(alias="at_most")
    """The longest interruption promised, such as `30s`."""


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
