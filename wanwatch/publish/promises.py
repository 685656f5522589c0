"""What is allowed: the availability that contracts promise, the downtime that it leaves, and data budgets.

They are the configuration's own numbers, so that rules elsewhere can hold the counters against them.

Departures:  of several availability clauses of one uplink the strictest is shown, of those that hold round the clock,
             of the contract that begins last; what a clause counts out, and how the month stands, is for the report.
"""

from collections.abc import Iterator
from fractions import Fraction

from prometheus_client.core import GaugeMetricFamily
from prometheus_client.registry import Collector

from wanwatch.config import Config
from wanwatch.config.contract import AvailabilityClause
from wanwatch.config.uplink import Uplink
from wanwatch.core.account.availability import allowance_ns
from wanwatch.core.account.calendar import local_time, month_span
from wanwatch.core.model import NS_PER_S


class PromiseFigures(Collector):
    """Three gauges for the uplinks that have such a promise or budget.

    Args:
        site: The site's name, a label of each.
    """

    def __init__(self, site: str) -> None:
        self._site = site
        self._limits: dict[str, Fraction] = {}
        self._budgets: dict[str, int] = {}
        self._month_ns = 0

    def show(self, config: Config, now_unix_ns: int) -> None:
        """Show what this configuration says, and the allowance of the month that runs."""
        today = local_time(now_unix_ns, config.site.zone)
        self._month_ns = month_span(today.year, today.month, config.site.zone).length_ns
        limits = {uplink.name: _limit(uplink) for uplink in config.uplinks}
        self._limits = {name: limit for name, limit in limits.items() if limit is not None}
        budgets = {uplink.name: uplink.data_budget_bytes for uplink in config.uplinks}
        self._budgets = {name: budget for name, budget in budgets.items() if budget is not None}

    def describe(self) -> Iterator[GaugeMetricFamily]:
        """Yield the metrics without a figure: their names, for the registry."""
        yield from self._families()

    def collect(self) -> Iterator[GaugeMetricFamily]:
        """Yield the metrics; an uplink of which nothing is promised is absent."""
        limit, allowance, budget = self._families()
        for name, ratio in self._limits.items():
            limit.add_metric((self._site, name, "availability"), float(ratio))
            allowance.add_metric((self._site, name), float(allowance_ns(ratio, self._month_ns) / NS_PER_S))
        for name, size in self._budgets.items():
            budget.add_metric((self._site, name), size)
        yield from (limit, allowance, budget)

    def _families(self) -> tuple[GaugeMetricFamily, GaugeMetricFamily, GaugeMetricFamily]:
        uplink = ("site", "uplink")
        return (
            GaugeMetricFamily(
                "wanwatch_clause_limit", "The limit of a contract's clause, in base units: for availability a ratio.",
                labels=(*uplink, "measure"),
            ),
            GaugeMetricFamily(
                "wanwatch_downtime_allowance_seconds",
                "How long the uplink may be down in the month that runs, by its availability clause.",
                labels=uplink,
            ),
            GaugeMetricFamily(
                "wanwatch_data_budget_bytes", "The most data that probing may use of the uplink in a month.",
                labels=uplink,
            ),
        )  # fmt: skip


def _limit(uplink: Uplink) -> Fraction | None:
    clauses = uplink.contract.clauses if uplink.contract else ()
    found = [clause for clause in clauses if isinstance(clause, AvailabilityClause) and clause.within == "always"]
    return max((Fraction(clause.at_least) for clause in found), default=None)
