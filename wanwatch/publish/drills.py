"""Drill metrics: how long ago the failover from each uplink was rehearsed, and whether that is too long."""

from collections.abc import Sequence

from prometheus_client import CollectorRegistry, Gauge

from wanwatch.core.drill import Rehearsal
from wanwatch.core.model import NS_PER_S


class DrillMetrics:
    """Two gauges for each uplink whose failover was rehearsed, or is to be.

    Args:
        site: The site's name, a label of both.
        registry: Where they are shown.
    """

    def __init__(self, site: str, registry: CollectorRegistry) -> None:
        self._site = site
        self._shown: set[str] = set()
        self._age = Gauge(
            "wanwatch_drill_age_seconds", "Time since the last failover drill that was done; absent before the first.",
            ("site", "uplink"), registry=registry,
        )  # fmt: skip
        self._overdue = Gauge(
            "wanwatch_drill_overdue", "1 if drill_every asks for a drill and none was done for so long, else 0.",
            ("site", "uplink"), registry=registry,
        )  # fmt: skip

    def show(self, rehearsals: Sequence[Rehearsal], now_unix_ns: int) -> None:
        """Show how things stand now, and no other uplinks; what stays is never away for a moment."""
        gone, self._shown = self._shown, {rehearsal.uplink for rehearsal in rehearsals}
        for uplink in gone - self._shown:
            for gauge in (self._age, self._overdue):
                gauge.remove(self._site, uplink)
        for rehearsal in rehearsals:
            age_ns = rehearsal.age_ns(now_unix_ns)
            if age_ns is None:
                self._age.remove(self._site, rehearsal.uplink)
            else:
                self._age.labels(self._site, rehearsal.uplink).set(age_ns / NS_PER_S)
            self._overdue.labels(self._site, rehearsal.uplink).set(rehearsal.overdue(now_unix_ns))
