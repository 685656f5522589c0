"""Receivers in metrics: how far behind each one is that the record is sent to, and how much of it it refused."""

from collections.abc import Iterator, Mapping
from typing import Protocol

from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily
from prometheus_client.registry import Collector


class Sending(Protocol):
    """What sends the record to one receiver."""

    def lag_s(self) -> float:
        """Return the seconds since the begin of the first minute that is still to be sent."""

    @property
    def refused_s(self) -> int:
        """So many seconds of the record were refused, and are left out."""


class ReceiverFigures(Collector):
    """Two metrics, asked for when somebody scrapes: a receiver that is behind falls further behind every second.

    Args:
        site: The site's name, a label of both.
    """

    def __init__(self, site: str) -> None:
        self._site = site
        self._receivers: Mapping[str, Sending] = {}

    def show(self, receivers: Mapping[str, Sending]) -> None:
        """Show these receivers by their names from now on, and no others."""
        self._receivers = dict(receivers)

    def describe(self) -> Iterator[GaugeMetricFamily | CounterMetricFamily]:
        """Yield the metrics without a figure: their names, for the registry."""
        yield from self._families()

    def collect(self) -> Iterator[GaugeMetricFamily | CounterMetricFamily]:
        """Yield the metrics; without receivers they have no series."""
        lag, refused = self._families()
        for name, sending in self._receivers.items():
            lag.add_metric((self._site, name), sending.lag_s())
            refused.add_metric((self._site, name), sending.refused_s)
        yield from (lag, refused)

    def _families(self) -> tuple[GaugeMetricFamily, CounterMetricFamily]:
        labels = ("site", "receiver")
        return (
            GaugeMetricFamily(
                "wanwatch_remote_write_lag_seconds",
                "Time since the begin of the first minute that the receiver was not sent yet: two to three minutes "
                "where nothing is amiss.",
                labels=labels,
            ),
            CounterMetricFamily(
                "wanwatch_remote_write_refused_seconds",
                "How much of the record the receiver refused; it is left out.",
                labels=labels,
            ),
        )
