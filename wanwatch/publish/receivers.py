"""Receivers in metrics: how far behind each one is that the record is sent to."""

from collections.abc import Callable, Iterator, Mapping

from prometheus_client.core import GaugeMetricFamily
from prometheus_client.registry import Collector


class ReceiverFigures(Collector):
    """One gauge, asked for when somebody scrapes: a receiver that is behind falls further behind every second.

    Args:
        site: The site's name, its label.
    """

    def __init__(self, site: str) -> None:
        self._site = site
        self._lags_s: Mapping[str, Callable[[], float]] = {}

    def show(self, lags_s: Mapping[str, Callable[[], float]]) -> None:
        """Show these receivers from now on, and no others: by each one's name what tells its lag in seconds."""
        self._lags_s = dict(lags_s)

    def describe(self) -> Iterator[GaugeMetricFamily]:
        """Yield the metric without a figure: its name, for the registry."""
        yield self._family()

    def collect(self) -> Iterator[GaugeMetricFamily]:
        """Yield the metric; without receivers it has no series."""
        family = self._family()
        for name, lag_s in self._lags_s.items():
            family.add_metric((self._site, name), lag_s())
        yield family

    def _family(self) -> GaugeMetricFamily:
        return GaugeMetricFamily(
            "wanwatch_remote_write_lag_seconds",
            "Time since the begin of the first minute that the receiver does not have yet: two to three minutes where "
            "nothing is amiss.",
            labels=("site", "receiver"),
        )
