"""What contracts promise and what became of it so far; the downtime that is allowed and what is left; data budgets.

Limits, allowances and budgets are the configuration's own numbers. What became of the promises is a tally that the
report's own accounting has made; how old it is stands beside it.

Departures:  only the contract that is in force today is shown. Of several availability clauses the allowance is the
             strictest one's, of those that hold round the clock.
"""

from collections.abc import Iterator
from datetime import date
from fractions import Fraction
from typing import NamedTuple

from prometheus_client.core import GaugeMetricFamily
from prometheus_client.registry import Collector

from wanwatch.config import Config
from wanwatch.config.promises import hours_of, names_of, promise_of
from wanwatch.config.uplink import Uplink
from wanwatch.core.account.availability import allowance_ns
from wanwatch.core.account.calendar import calendar_span, local_time
from wanwatch.core.account.clauses import Promise
from wanwatch.core.account.tally import Tally
from wanwatch.core.model import NS_PER_S, Json


class Clause(NamedTuple):
    """A clause by the name of its uplink and its own."""

    uplink: str
    name: str


class _Shown(NamedTuple):
    """What is shown, exchanged as a whole: a scrape on another thread sees all of one moment."""

    promises: dict[Clause, Promise]
    allowances: dict[Clause, Fraction]
    budgets: dict[str, int]
    tally: Tally | None


class PromiseFigures(Collector):
    """Gauges for the uplinks that have a promise or a budget.

    Args:
        site: The site's name, a label of each.
    """

    def __init__(self, site: str) -> None:
        self._site = site
        self._shown = _Shown({}, {}, {}, None)

    @property
    def clauses(self) -> frozenset[Clause]:
        """The clauses that are shown."""
        return frozenset(self._shown.promises)

    def show(self, config: Config, now_unix_ns: int) -> None:
        """Show what this configuration says today, and no figure of a month that is over."""
        today = local_time(now_unix_ns, config.site.zone)
        promises, allowances = {}, {}
        for uplink in config.uplinks:
            mine = _promises(uplink, today.date())
            promises.update(mine)
            clause = _strictest(mine)
            if clause is not None:
                span = calendar_span(mine[clause].per, today.year, today.month, config.site.zone)
                allowances[clause] = allowance_ns(mine[clause].limit, span.length_ns)
        budgets = {uplink.name: uplink.data_budget_bytes for uplink in config.uplinks if uplink.data_budget_bytes}
        tally = self._shown.tally
        if tally is not None and now_unix_ns >= tally.until_unix_ns:
            tally = None
        self._shown = _Shown(promises, allowances, budgets, tally)

    def take(self, tally: Tally) -> None:
        """Show what became of the promises; what is said of clauses that are not in force is left out."""
        self._shown = self._shown._replace(tally=tally)

    def to_json(self) -> list[Json]:
        """Return the downtime that is allowed and left of each uplink that has such a promise, as /health shows it."""
        shown = self._shown
        left = {Clause(one.uplink, one.clause): one.left_s for one in shown.tally.clauses} if shown.tally else {}
        return [
            {
                "uplink": clause.uplink,
                "per": shown.promises[clause].per.value,
                "allowed_s": float(allowed_ns / NS_PER_S),
                "left_s": left.get(clause),
            }
            for clause, allowed_ns in shown.allowances.items()
        ]

    def describe(self) -> Iterator[GaugeMetricFamily]:
        """Yield the metrics without a figure: their names, for the registry."""
        yield from self._families().values()

    def collect(self) -> Iterator[GaugeMetricFamily]:
        """Yield the metrics; an uplink of which nothing is promised is absent, and so is a verdict that is open."""
        shown, families = self._shown, self._families()
        for clause, promise in shown.promises.items():
            families["limit"].add_metric(self._labels(clause, promise), float(promise.limit))
        for clause, allowed_ns in shown.allowances.items():
            families["allowed"].add_metric((self._site, clause.uplink), float(allowed_ns / NS_PER_S))
        for name, size in shown.budgets.items():
            families["budget"].add_metric((self._site, name), size)
        if shown.tally is not None:
            self._add(families, shown, shown.tally)
        yield from families.values()

    def _add(self, families: dict[str, GaugeMetricFamily], shown: _Shown, tally: Tally) -> None:
        families["made"].add_metric((self._site,), tally.made_unix_ns / NS_PER_S)
        for one in tally.clauses:
            clause = Clause(one.uplink, one.clause)
            promise = shown.promises.get(clause)
            if promise is None:
                continue
            if one.value is not None:
                families["value"].add_metric(self._labels(clause, promise), one.value)
            if one.met is not None:
                families["met"].add_metric(self._labels(clause, promise), one.met)
            if one.left_s is not None and clause in shown.allowances:
                families["left"].add_metric((self._site, clause.uplink), one.left_s)

    def _labels(self, clause: Clause, promise: Promise) -> tuple[str, ...]:
        return self._site, clause.uplink, promise.measure, clause.name, hours_of(promise)

    def _families(self) -> dict[str, GaugeMetricFamily]:
        uplink = ("site", "uplink")
        clause = (*uplink, "measure", "clause", "hours")
        return {
            "limit": GaugeMetricFamily(
                "wanwatch_clause_limit",
                "The limit of a contract's clause, in base units: seconds, a ratio or a number.", labels=clause,
            ),
            "value": GaugeMetricFamily(
                "wanwatch_clause_value",
                "What a clause's figure has come to so far, in the unit of its limit; absent where nothing was "
                "seen, or where it has no end.", labels=clause,
            ),
            "met": GaugeMetricFamily(
                "wanwatch_clause_met",
                "1 if a clause is met whatever may still come, 0 if it is breached; absent while it is undecided.",
                labels=clause,
            ),
            "allowed": GaugeMetricFamily(
                "wanwatch_downtime_allowance_seconds",
                "How long the uplink may be down in the month that runs, or the quarter or year that its availability "
                "clause is judged over.", labels=uplink,
            ),
            "left": GaugeMetricFamily(
                "wanwatch_downtime_allowance_remaining_seconds",
                "How much of that is left, without what the contract counts out; less than nothing where it is "
                "overdrawn.", labels=uplink,
            ),
            "made": GaugeMetricFamily(
                "wanwatch_accounts_made_timestamp_seconds",
                "When clauses' figures and what is left of allowances were reckoned.", labels=("site",),
            ),
            "budget": GaugeMetricFamily(
                "wanwatch_data_budget_bytes", "The most data that probing may use of the uplink in a month.",
                labels=uplink,
            ),
        }  # fmt: skip


def _promises(uplink: Uplink, today: date) -> dict[Clause, Promise]:
    contract = next((contract for contract in uplink.contracts if contract.covers(today)), None)
    promises = [promise_of(clause) for clause in contract.clauses] if contract else []
    return {Clause(uplink.name, name): one for name, one in zip(names_of(promises), promises, strict=True)}


def _strictest(promises: dict[Clause, Promise]) -> Clause | None:
    found = [name for name, one in promises.items() if one.measure == "availability" and not one.working]
    return max(found, key=lambda name: promises[name].limit, default=None)
