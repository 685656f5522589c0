"""Accounts: what a report says of how lines, site and people stood. Values only; `accounting` reckons them."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import tzinfo

from wanwatch.core.account.allowance import Allowance
from wanwatch.core.account.standing import Standing
from wanwatch.core.account.working import WorkingTime
from wanwatch.core.account.y1540 import Edition, Intervals
from wanwatch.core.model import Span


@dataclass(frozen=True, slots=True)
class Hours:
    """The period of a report, and the working hours in it."""

    period: Span
    working: tuple[Span, ...]

    @staticmethod
    def of(period: Span, working: WorkingTime, zone: tzinfo) -> "Hours":
        """Return the hours of a period."""
        return Hours(period, working.within(period, zone))


@dataclass(frozen=True, slots=True)
class Account:
    """How something stood.

    Attributes:
        always: Round the clock.
        working: In the site's working hours; None where the period has none.
    """

    always: Standing
    working: Standing | None


@dataclass(frozen=True, slots=True, kw_only=True)
class LineAccount:
    """How a line stood.

    Attributes:
        states: By the judge's states.
        y1540: By intervals of loss (ITU-T Y.1540); None where minutes were not read one by one.
        allowances: The downtime that its promises of availability leave, one for each.
    """

    states: Account
    y1540: Intervals | None
    allowances: tuple[Allowance, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Accounts:
    """How the lines, the site and its people stood.

    Attributes:
        edition: The numbers that `y1540` of the lines was reckoned with.
        lines: By the uplink's name.
        site: Whether any line could carry.
        people: How ordinary traffic fared; None where nobody watched it.
    """

    edition: Edition
    lines: Mapping[str, LineAccount] = field(default_factory=dict)
    site: Account
    people: Account | None
