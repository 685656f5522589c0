"""Live figures: jitter of each series, and how a call over each uplink would be rated at this moment.

They are reckoned when somebody asks for the metrics; a sample costs no more than being noted down.

Sources:     RFC 3550 appendix A.8 (jitter, in nanoseconds of round trips, in order of arrival); ITU-T G.107 (voice), as
             in `core.account.voice`, over the last minute.
Departures:  a minute holds too few runs of loss to tell bursts, so loss counts as random.
"""

from collections import deque
from collections.abc import Iterator
from typing import Final, NamedTuple

from prometheus_client.core import GaugeMetricFamily
from prometheus_client.registry import Collector

from wanwatch.core.account import voice
from wanwatch.core.account.percentile import percentile
from wanwatch.core.account.variation import scaled_jitter
from wanwatch.core.model import NS_PER_S, Outcome, Role, Sample, Series

_WINDOW_NS: Final = 60 * NS_PER_S
_MOST_IN_WINDOW: Final = 6000
"""As many as the quickest probing, every 10 ms, sends in a minute."""
_GONE_NS: Final = 3600 * NS_PER_S
"""A series that was not asked for so long is no longer asked."""
_UNANSWERED: Final = frozenset({Outcome.LOST, Outcome.LATE, Outcome.MALFORMED})
_P95: Final = 0.95
_MEDIAN: Final = 0.5


class Lately(NamedTuple):
    """What one series showed in the last minute.

    Attributes:
        series: Which.
        asked: How many probes were answered or not.
        delay_s: The median round trip of those that were answered, in seconds; None if none was.
        loss_ratio: The share of those that were not.
    """

    series: Series
    asked: int
    delay_s: float | None
    loss_ratio: float


class _Live:
    """One series: its running jitter, and what came of its probes in the last minute (-1 for no answer)."""

    __slots__ = ("jitter", "last_ns", "window")

    def __init__(self) -> None:
        self.jitter: int | None = None
        self.last_ns: int | None = None
        self.window: deque[tuple[int, int]] = deque(maxlen=_MOST_IN_WINDOW)

    def note(self, known_ns: int, rtt_ns: int) -> None:
        window = self.window
        window.append((known_ns, rtt_ns))
        while window[0][0] <= known_ns - _WINDOW_NS:
            window.popleft()
        if rtt_ns >= 0:
            if self.last_ns is not None:
                self.jitter = scaled_jitter(self.jitter or 0, rtt_ns - self.last_ns)
            self.last_ns = rtt_ns


class LiveFigures(Collector):
    """The figures of one site's line series, as two metrics.

    Args:
        site: The site's name, a label of both.
    """

    def __init__(self, site: str) -> None:
        self.codec = voice.CODECS[voice.USUAL_CODEC]
        self.now_ns = 0
        self._site = site
        self._series: dict[Series, _Live] = {}

    def sample(self, sample: Sample) -> None:
        """Note one sample, if it speaks for the line and was answered or not; a refusal was neither."""
        series = sample.series
        if series.role is not Role.LINE:
            return
        if sample.outcome is Outcome.ANSWERED and sample.rtt_ns is not None:
            rtt_ns = sample.rtt_ns
        elif sample.outcome in _UNANSWERED:
            rtt_ns = -1
        else:
            return
        live = self._series.get(series)
        if live is None:
            live = self._series[series] = _Live()
        live.note(sample.known_ns, rtt_ns)

    def forget(self, uplink: str) -> None:
        """Drop the series of an uplink that is gone."""
        self._series = {series: live for series, live in self._series.items() if series.uplink != uplink}

    def drop(self, series: Series) -> None:
        """Drop a series that is no longer asked."""
        self._series.pop(series, None)

    def drop_old(self) -> None:
        """Drop the series that were not asked for an hour."""
        old = [s for s, live in self._series.items() if live.window[-1][0] <= self.now_ns - _GONE_NS]
        for series in old:
            del self._series[series]

    def lately(self) -> list[Lately]:
        """Return what each series showed in the last minute; one that was not asked is not in it."""
        found = []
        for series, live in self._series.items():
            told, answered = self._told(live)
            if told:
                rtt_ns = percentile(answered, _MEDIAN)
                delay_s = None if rtt_ns is None else float(rtt_ns) / NS_PER_S
                found.append(Lately(series, len(told), delay_s, 1 - len(answered) / len(told)))
        return found

    def describe(self) -> Iterator[GaugeMetricFamily]:
        """Yield both metrics without a figure: their names, for the registry."""
        jitter, mos = self._families()
        yield jitter
        yield mos

    def collect(self) -> Iterator[GaugeMetricFamily]:
        """Yield both metrics as they stand; what nothing is known of is absent."""
        jitter, mos = self._families()
        best: dict[str, float] = {}
        for series, live in self._series.copy().items():
            if live.jitter is not None:
                labels = (self._site, series.uplink, series.target, series.kind.value)
                jitter.add_metric(labels, (live.jitter >> 4) / NS_PER_S)
            score = self._score(live)
            if score is not None:
                best[series.uplink] = max(score, best.get(series.uplink, score))
        for uplink, score in best.items():
            mos.add_metric((self._site, uplink), score)
        yield jitter
        yield mos

    def _score(self, live: _Live) -> float | None:
        """The mean opinion score to one target over the last minute; None where nothing was answered."""
        told, answered = self._told(live)
        rtt_ns = percentile(answered, _P95)
        if rtt_ns is None:
            return None
        return voice.line(rtt_ns / NS_PER_S, 1 - len(answered) / len(told), self.codec).mos

    def _told(self, live: _Live) -> tuple[list[int], list[int]]:
        """What came of a series' probes in the last minute, and the round trips among that, ascending."""
        # Copied in one go, since the event loop adds to it meanwhile.
        told = [rtt_ns for known_ns, rtt_ns in live.window.copy() if known_ns > self.now_ns - _WINDOW_NS]
        return told, sorted(rtt_ns for rtt_ns in told if rtt_ns >= 0)

    def _families(self) -> tuple[GaugeMetricFamily, GaugeMetricFamily]:
        return (
            GaugeMetricFamily(
                "wanwatch_jitter_seconds", "Running interarrival jitter of round trips (RFC 3550), by series.",
                labels=("site", "uplink", "target", "kind"),
            ),
            GaugeMetricFamily(
                "wanwatch_voice_mos",
                "Mean opinion score of a call over the last minute (ITU-T G.107): that of the uplink's best target, as "
                "a target's own trouble is not the line's. Absent while nothing is answered.",
                labels=("site", "uplink"),
            ),
        )  # fmt: skip
