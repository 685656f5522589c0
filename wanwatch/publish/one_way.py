"""What STAMP learns of each direction: delay where both clocks are disciplined, loss where the reflector counts.

Sources:     RFC 8762 section 4.3 (a stateful reflector's own numbers); the facts are those of `measure.codecs`.
Departures:  a counter must not fall, yet what a session tells falls whenever a packet that counted as lost was only
             overtaken; so each session counts with the most that it told, and such a packet stays counted until a
             loss takes its place. A session that begins anew before its 64th answer, and whose first answer is not
             seen, is taken for the one before it: as much as that one lost is then not counted again.
"""

from collections.abc import Iterator
from typing import Final

from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily
from prometheus_client.metrics_core import Metric
from prometheus_client.registry import Collector

from wanwatch.core.model import NS_PER_S, Kind, Outcome, Role, Sample, Series

_DIRECTIONS: Final = ("forward", "reverse")
_DELAYS: Final = ("forward_ns", "reverse_ns", "one_way_error_ns")
_LOSSES: Final = ("lost_forward", "lost_reverse")
_FRESH_NS: Final = 60 * NS_PER_S
"""A delay that is older says nothing of now."""
_GONE_NS: Final = 3600 * NS_PER_S
"""A series that was not asked for so long is no longer asked."""
_REORDERED: Final = 64
"""A reflector's number that falls further than this was not overtaken: the reflector counts anew."""


class _Ways:
    """One series: what its last answer said of delay, and what its sessions lost, in this one and those before it."""

    __slots__ = ("answered_ns", "asked_ns", "before", "delays_ns", "lost", "number")

    def __init__(self) -> None:
        self.asked_ns = self.answered_ns = self.number = 0
        self.delays_ns: list[int] = []
        self.before = [0, 0]
        self.lost: list[int] = []

    def answered(self, sample: Sample) -> None:
        self.answered_ns = sample.known_ns
        self.delays_ns = _figures(sample, _DELAYS)
        for number in _figures(sample, ("reflector_seq",)):
            if not sample.reordered and (number == 0 or number < self.number - _REORDERED):
                self._begin_anew()
            self.number = max(self.number, number)
        if told := _figures(sample, _LOSSES):
            self.lost = [max(both) for both in zip(told, self.lost or told, strict=True)]

    def _begin_anew(self) -> None:
        self.number = 0
        if self.lost:
            self.before, self.lost = self.total(), [0, 0]

    def total(self) -> list[int]:
        """All that was lost in each direction; nothing where no session ever told."""
        return [sum(both) for both in zip(self.before, self.lost, strict=True)] if self.lost else []


class OneWayFigures(Collector):
    """The delays and losses of each direction, of one site's line series.

    Args:
        site: The site's name, a label of all metrics.
    """

    def __init__(self, site: str) -> None:
        self.now_ns = 0
        self._site = site
        self._series: dict[Series, _Ways] = {}

    def sample(self, sample: Sample) -> None:
        """Note one sample, if it is of a STAMP session."""
        series = sample.series
        if series.kind is not Kind.STAMP or series.role is not Role.LINE:
            return
        ways = self._series.get(series)
        if ways is None:
            ways = self._series[series] = _Ways()
        ways.asked_ns = sample.known_ns
        if sample.outcome is Outcome.ANSWERED:
            ways.answered(sample)

    def forget(self, uplink: str) -> None:
        """Drop the series of an uplink that is gone."""
        self._series = {series: ways for series, ways in self._series.items() if series.uplink != uplink}

    def drop(self, series: Series) -> None:
        """Drop a series that is no longer asked."""
        self._series.pop(series, None)

    def drop_old(self) -> None:
        """Drop the series that were not asked for an hour."""
        old = [s for s, ways in self._series.items() if ways.asked_ns <= self.now_ns - _GONE_NS]
        for series in old:
            del self._series[series]

    def describe(self) -> Iterator[Metric]:
        """Yield the metrics without a figure: their names, for the registry."""
        yield from _families()

    def collect(self) -> Iterator[Metric]:
        """Yield the metrics as they stand; what nothing is known of is absent."""
        delay, error, lost = _families()
        for series, ways in self._series.copy().items():
            labels = (self._site, series.uplink, series.target)
            if ways.delays_ns and ways.answered_ns > self.now_ns - _FRESH_NS:
                *delays_ns, error_ns = ways.delays_ns
                error.add_metric(labels, error_ns / NS_PER_S)
                for direction, delay_ns in zip(_DIRECTIONS, delays_ns, strict=True):
                    delay.add_metric((*labels, direction), delay_ns / NS_PER_S)
            for direction, number in zip(_DIRECTIONS, ways.total(), strict=False):  # none where none was told
                lost.add_metric((*labels, direction), number)
        yield from (delay, error, lost)


def _figures(sample: Sample, names: tuple[str, ...]) -> list[int]:
    """Return these facts of *sample*; nothing unless it has all of them."""
    told = [sample.facts.get(name) for name in names] if sample.facts else []
    figures = [figure for figure in told if isinstance(figure, int)]
    return figures if len(figures) == len(names) else []


def _families() -> tuple[GaugeMetricFamily, GaugeMetricFamily, CounterMetricFamily]:
    probe = ("site", "uplink", "target")
    return (
        GaugeMetricFamily(
            "wanwatch_one_way_delay_seconds",
            "Delay of the last answered STAMP probe, forward (there) and reverse (back). Absent unless both clocks are "
            "disciplined, and after a minute without an answer. Clocks that differ can make it negative.",
            labels=(*probe, "direction"),
        ),
        GaugeMetricFamily(
            "wanwatch_one_way_delay_error_seconds",
            "The most by which either one-way delay can be wrong: both clocks' error estimates together.",
            labels=probe,
        ),
        CounterMetricFamily(
            "wanwatch_one_way_lost",
            "STAMP packets lost on the way there (forward) or back (reverse), by the reflector's numbers. Absent while "
            "these are the sender's own.",
            labels=(*probe, "direction"),
        ),
    )
