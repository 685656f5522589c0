"""Metrics for Prometheus: what was asked, what was answered, what was concluded.

Sources:  Prometheus naming practices (base units, `_total`, `_info`). Every label value comes from the configuration
          or from a fixed set; none can be chosen by a stranger.
"""

from collections.abc import Iterable, Mapping
from itertools import permutations
from typing import Final

from prometheus_client import CollectorRegistry, Counter, Histogram, Info, disable_created_metrics

from wanwatch.core.account.voice import CODECS, USUAL_CODEC
from wanwatch.core.model import (
    NS_PER_S,
    SWITCHES,
    UNPINNED,
    CarryingChanged,
    Domain,
    Event,
    EventKind,
    Outcome,
    PinChanged,
    Role,
    Sample,
    Series,
    State,
    StateChanged,
)
from wanwatch.core.resolving import Findings, Place
from wanwatch.publish.datause import DataMetrics
from wanwatch.publish.drills import DrillMetrics
from wanwatch.publish.fetches import FetchMetrics
from wanwatch.publish.live import LiveFigures
from wanwatch.publish.notice_metrics import NoticeMetrics
from wanwatch.publish.one_way import OneWayFigures
from wanwatch.publish.promises import PromiseFigures
from wanwatch.publish.receivers import ReceiverFigures
from wanwatch.publish.resolving import ResolvingMetrics
from wanwatch.publish.speed_metrics import SpeedMetrics
from wanwatch.publish.standing import StandingFigures
from wanwatch.publish.try_metrics import TryMetrics

# From 1 ms, a good fibre, to 2 s, the usual waiting time; six steps a decade where lines really lie.
RTT_BUCKETS_S: Final = (0.001, 0.002, 0.005, 0.01, 0.015, 0.02, 0.03, 0.05, 0.075, 0.1, 0.15, 0.2, 0.3, 0.5, 1.0, 2.0)
# From a switch that nobody feels to one that somebody had to mend by hand.
INTERRUPTION_BUCKETS_S: Final = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 30.0, 60.0, 120.0, 300.0, 900.0, 3600.0)
FEW: Final = 4
"""For so many uplinks every switch that can be is counted from nothing on; the pairs of more would be too many."""
_LOST: Final = frozenset({Outcome.LOST, Outcome.MALFORMED})
# Response codes with names in the IANA registry that a resolver sends in practice; all others share one label value.
_NONE: Final = "none"
_RCODES: Final = frozenset({"NOERROR", "FORMERR", "SERVFAIL", "NXDOMAIN", "NOTIMP", "REFUSED", _NONE})


class _SeriesMetrics:
    """The children of one series, looked up once: labels() for each sample would cost more than the counting."""

    __slots__ = ("lost", "rtt", "sent")

    def __init__(self, sent: Counter, lost: Counter, rtt: Histogram) -> None:
        self.sent, self.lost, self.rtt = sent, lost, rtt


class Metrics:
    """All metrics of one site.

    Args:
        site: The site's name, a label of every metric.
        version: The program's version, for `wanwatch_build_info`.
    """

    def __init__(self, site: str, version: str) -> None:
        disable_created_metrics()  # type: ignore[no-untyped-call]  # theirs; a second series for each, which nobody asks
        self.registry = CollectorRegistry()
        self._site = site
        registry = self.registry
        Info("wanwatch_build", "Version of this program.", registry=registry).info({"version": version})
        probe = ("site", "uplink", "target", "kind")
        uplink = ("site", "uplink")
        self._sent = Counter(
            "wanwatch_probe_sent", "Probes that left, by series. A probe that could not be sent is in no count.",
            probe, registry=registry,
        )  # fmt: skip
        self._lost = Counter(
            "wanwatch_probe_lost", "Probes without a valid answer within their waiting time, by series.",
            probe, registry=registry,
        )  # fmt: skip
        self._rtt = Histogram(
            "wanwatch_probe_rtt_seconds", "Round-trip time of answered probes, by series.",
            probe, registry=registry, buckets=RTT_BUCKETS_S,
        )  # fmt: skip
        self._switches = Counter(
            "wanwatch_switches", "Changes of the carrying uplink.", ("site", "kind", "from", "to"), registry=registry
        )
        self._interruption = Histogram(
            "wanwatch_interruption_seconds", "How long unpinned traffic got no answer around a switch.",
            ("site",), registry=registry, buckets=INTERRUPTION_BUCKETS_S,
        )  # fmt: skip
        self._outage = Counter(
            "wanwatch_outage_seconds", "Time the uplink was down, by where it broke.",
            (*uplink, "domain"), registry=registry,
        )  # fmt: skip
        self._observed = Counter(
            "wanwatch_observed_seconds", "Time in which the uplink's state was known.", uplink, registry=registry
        )
        self._unobserved = Counter(
            "wanwatch_unobserved_seconds", "Time in which the uplink's state was not known while this process ran.",
            uplink, registry=registry,
        )  # fmt: skip
        self._names = Counter(
            "wanwatch_names_answers", "Questions to resolvers, by the response code of the answer.",
            ("site", "uplink", "resolver", "rcode"), registry=registry,
        )  # fmt: skip
        self._fetches = FetchMetrics(site, registry)
        self.drills = DrillMetrics(site, registry)
        self.data = DataMetrics(site, registry)
        self.speed = SpeedMetrics(site, registry)
        self.notices = NoticeMetrics(site, registry)
        self.tries = TryMetrics(site, registry)
        self.promises = PromiseFigures(site)
        registry.register(self.promises)
        self.receivers = ReceiverFigures(site)
        registry.register(self.receivers)
        self._resolving = ResolvingMetrics(site, registry)
        self._standing = StandingFigures(site)
        registry.register(self._standing)
        self.live = LiveFigures(site)
        registry.register(self.live)
        self._one_way = OneWayFigures(site)
        registry.register(self._one_way)
        self._interruption.labels(site)
        self._children: dict[Series, _SeriesMetrics] = {}
        self._states = self._standing.states
        self._down_domain: dict[str, str] = {}
        self._counted: set[str] = set()
        self._measured: set[str] = set()
        self._asked: frozenset[Series] = frozenset()
        self._gone: frozenset[Series] = frozenset()
        self._ticked_ns: int | None = None

    def follow(self, uplinks: tuple[str, ...], codec: str = USUAL_CODEC) -> None:
        """Export these uplinks, and no others: series of an uplink that is gone vanish. Rate calls with *codec*."""
        self.live.codec = CODECS[codec]
        for name in set(self._states) - set(uplinks):
            self._forget(name)
        for name in set(uplinks) - set(self._states):
            self._begin(name)
        if len(uplinks) <= FEW:
            self._expect_switches(uplinks)

    def ask(self, series: Iterable[Series]) -> None:
        """Export, of all that was asked so far, only these: targets and resolvers that are gone leave no series."""
        before, self._asked = self._asked, frozenset(series)
        gone = before - self._asked
        self._gone = (self._gone | gone) - self._asked
        labels, places = {one[:3] for one in self._asked}, {one[:2] for one in self._asked}
        for one in gone:
            self._drop(one, of_labels=one[:3] not in labels, of_place=one[:2] not in places)

    def sample(self, sample: Sample) -> None:
        """Count one sample."""
        if sample.outcome is Outcome.NOT_SENT:
            return
        mine = self._children.get(sample.series) or self._child(sample.series)
        if mine is None:
            return
        self.live.sample(sample)
        self._one_way.sample(sample)
        mine.sent.inc()
        if sample.outcome is Outcome.ANSWERED and sample.rtt_ns is not None:
            mine.rtt.observe(sample.rtt_ns / NS_PER_S)
        elif sample.outcome in _LOST:
            mine.lost.inc()
        self._fetches.sample(sample)
        if sample.series.role is Role.NAMES:
            rcode = str((sample.facts or {}).get("rcode", _NONE))
            label = rcode if rcode in _RCODES else "OTHER"
            self._names.labels(self._site, sample.series.uplink, sample.series.target, label).inc()

    def resolving(self, found: Mapping[Place, Findings]) -> None:
        """Show what an inspection of the resolvers found, of those that are still asked."""
        gone = {one[:2] for one in self._gone} - {one[:2] for one in self._asked}
        self._resolving.show(
            {place: one for place, one in found.items() if place[0] in self._states and place not in gone}
        )

    def state(self, changed: StateChanged) -> None:
        """Show an uplink's new state."""
        if changed.uplink in self._states:
            self._states[changed.uplink] = changed.state

    def carrying(self, changed: CarryingChanged) -> None:
        """Show which uplink carries; while that is unknown, the metric is absent rather than wrong."""
        self._standing.carrying = changed

    def pin(self, changed: PinChanged) -> None:
        """Show whether an uplink's pin is proved; while nothing tells, the metric is absent."""
        if changed.proved is None:
            self._standing.pins.pop(changed.uplink, None)
        elif changed.uplink in self._states:
            self._standing.pins[changed.uplink] = changed.proved

    def event(self, event: Event) -> None:
        """Count an event that has been kept. A switch and its interruption are counted once, however often told."""
        if event.kind is EventKind.OUTAGE and event.uplink is not None:
            self._down_domain[event.uplink] = event.domain.value if event.domain and event.end is None else _NONE
        if event.kind not in SWITCHES:
            return
        if event.id not in self._counted:
            self._counted.add(event.id)
            self._switches.labels(
                self._site, event.kind.value, event.from_uplink or _NONE, event.to_uplink or _NONE
            ).inc()  # fmt: skip
        # A blackout and its restoration carry one and the same interruption.
        length_s = None if event.kind is EventKind.BLACKOUT else event.interruption_s
        if length_s is not None and event.id not in self._measured:
            self._measured.add(event.id)
            self._interruption.labels(self._site).observe(length_s)

    def tick(self, now_ns: int) -> None:
        """Add the time since the last tick to the counters of time, by the states that hold now."""
        elapsed_s = 0.0 if self._ticked_ns is None else (now_ns - self._ticked_ns) / NS_PER_S
        self._ticked_ns = self.live.now_ns = self._one_way.now_ns = now_ns
        self.live.drop_old()
        self._one_way.drop_old()
        for name, state in self._states.items():
            counter = self._unobserved if state is State.UNOBSERVED else self._observed
            counter.labels(self._site, name).inc(elapsed_s)
            if state is State.DOWN:
                self._outage.labels(self._site, name, self._down_domain.get(name, _NONE)).inc(elapsed_s)

    def _begin(self, uplink: str) -> None:
        """Show an uplink from now on. Its counters begin at nothing: of one that appears later, rates miss the rise."""
        self._states[uplink] = State.UNOBSERVED
        for counter in (self._observed, self._unobserved):
            counter.labels(self._site, uplink)
        for domain in (*Domain, _NONE):
            self._outage.labels(self._site, uplink, str(domain))

    def _expect_switches(self, uplinks: tuple[str, ...]) -> None:
        for one, other in permutations(uplinks, 2):
            for kind in (EventKind.FAILOVER, EventKind.FAILBACK, EventKind.NEEDLESS_FAILOVER):
                self._switches.labels(self._site, kind.value, one, other)
        for name in uplinks:
            self._switches.labels(self._site, EventKind.BLACKOUT.value, name, _NONE)
            self._switches.labels(self._site, EventKind.RESTORATION.value, _NONE, name)

    def _child(self, series: Series) -> _SeriesMetrics | None:
        """Make the metrics of a series; None for a last word about a target or an uplink that was taken out."""
        if series in self._gone or (series.uplink not in self._states and series.uplink != UNPINNED):
            return None
        labels = (self._site, series.uplink, series.target, series.kind.value)
        child = _SeriesMetrics(self._sent.labels(*labels), self._lost.labels(*labels), self._rtt.labels(*labels))
        self._children[series] = child
        return child

    def _drop(self, series: Series, *, of_labels: bool, of_place: bool) -> None:
        """Show nothing of a series any longer, but what others that are asked have the same labels for."""
        self._children.pop(series, None)
        self.live.drop(series)
        self._one_way.drop(series)
        if of_labels:
            for metric in (self._sent, self._lost, self._rtt):
                metric.remove(self._site, series.uplink, series.target, series.kind.value)
        if of_place:
            self._names.remove_by_labels({"uplink": series.uplink, "resolver": series.target})
            self._fetches.forget(series.uplink, series.target)
            self._resolving.forget(series.uplink, series.target)

    def _forget(self, uplink: str) -> None:
        self._down_domain.pop(uplink, None)
        self._standing.forget(uplink)
        self.live.forget(uplink)
        self._one_way.forget(uplink)
        self._children = {series: child for series, child in self._children.items() if series.uplink != uplink}
        labels: Mapping[str, str] = {"site": self._site, "uplink": uplink}
        for metric in (
            self._sent, self._lost, self._rtt, self._outage, self._observed, self._unobserved, self._names,
        ):  # fmt: skip
            metric.remove_by_labels(dict(labels))
        for way in ("from", "to"):
            self._switches.remove_by_labels({"site": self._site, way: uplink})
        self._fetches.forget(uplink)
        self.data.forget(uplink)
        self.speed.forget(uplink)
        self._resolving.forget(uplink)
