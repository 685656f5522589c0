"""Speed metrics: what the last test measured, and how tests end."""

from typing import Final

from prometheus_client import CollectorRegistry, Counter, Gauge

from wanwatch.core.account.speed_result import SpeedResult
from wanwatch.core.model import NS_PER_S

OUTCOMES: Final = ("counts", "apart", "failed", "skipped")
"""It counts for the line; it does not, since something else held it back; nothing was measured; it was not run."""


class SpeedMetrics:
    """Three metrics of each uplink's speed tests.

    Args:
        site: The site's name, a label of each.
        registry: Where they are shown.
    """

    def __init__(self, site: str, registry: CollectorRegistry) -> None:
        self._site = site
        self._rate = Gauge(
            "wanwatch_speed_bits_per_second", "TCP goodput of the last speed test that measured it, by direction.",
            ("site", "uplink", "direction"), registry=registry,
        )  # fmt: skip
        self._at = Gauge(
            "wanwatch_speed_test_timestamp_seconds", "When the last speed test that measured something began.",
            ("site", "uplink"), registry=registry,
        )  # fmt: skip
        self._tests = Counter(
            "wanwatch_speed_tests", "Speed tests by outcome: counts, apart, failed, skipped.",
            ("site", "uplink", "outcome"), registry=registry,
        )  # fmt: skip

    def begin(self, uplink: str) -> None:
        """Count the tests of *uplink* from nothing on: of a counter that appears with the first, rates miss it."""
        for one in OUTCOMES:
            self._tests.labels(self._site, uplink, one)

    def show(self, result: SpeedResult) -> None:
        """Show a test that has ended, or was skipped."""
        self._tests.labels(self._site, result.uplink, outcome(result)).inc()
        for run in result.runs:
            if run.goodput is not None:
                self._rate.labels(self._site, result.uplink, run.direction.value).set(run.goodput.bps)
                self._at.labels(self._site, result.uplink).set(result.at_unix_ns / NS_PER_S)

    def forget(self, uplink: str) -> None:
        """Show nothing of *uplink* any longer."""
        for metric in (self._rate, self._at, self._tests):
            metric.remove_by_labels({"site": self._site, "uplink": uplink})


def outcome(result: SpeedResult) -> str:
    """Return how a test ended, one of `OUTCOMES`; the worse of both directions."""
    counts, apart, failed, skipped = OUTCOMES
    if result.skipped is not None:
        return skipped
    if any(run.goodput is None for run in result.runs):
        return failed
    return counts if all(run.counts for run in result.runs) else apart
