"""Metrics of connections: how long each step of the last fetch took, which family answered, when certificates end."""

from typing import Final

from prometheus_client import CollectorRegistry, Gauge

from wanwatch.core.model import NS_PER_S, Sample

_PHASES: Final = {"dns_ns": "dns", "connect_ns": "connect", "tls_ns": "tls", "first_byte_ns": "first-byte"}


class FetchMetrics:
    """What the facts of samples say, for those that have such facts.

    Args:
        site: The site's name.
        registry: Where the metrics are shown.
    """

    def __init__(self, site: str, registry: CollectorRegistry) -> None:
        self._site = site
        self._places: set[tuple[str, str]] = set()
        labels = ("site", "uplink", "target")
        self._phase = Gauge(
            "wanwatch_fetch_phase_seconds", "How long each step of the last fetch or connection took.",
            (*labels, "phase"), registry=registry,
        )  # fmt: skip
        self._version = Gauge(
            "wanwatch_fetch_ip_version", "The version of IP, 4 or 6, by which the last fetch was answered.",
            labels, registry=registry,
        )  # fmt: skip
        self._expiry = Gauge(
            "wanwatch_certificate_expiry_timestamp_seconds", "When the far end's certificate ends, in seconds of Unix.",
            labels, registry=registry,
        )  # fmt: skip

    def sample(self, sample: Sample) -> None:
        """Show what *sample* learnt; a step that it did not come to is absent rather than old."""
        facts, place = sample.facts or {}, sample.series[:2]
        if not facts.keys() & _PHASES.keys() and place not in self._places:
            return
        self._places.add(place)
        labels = (self._site, sample.series.uplink, sample.series.target)
        for fact, phase in _PHASES.items():
            took_ns = facts.get(fact)
            if isinstance(took_ns, int):
                self._phase.labels(*labels, phase).set(took_ns / NS_PER_S)
            else:
                self._phase.remove(*labels, phase)
        for gauge, fact in ((self._version, "family"), (self._expiry, "cert_expires_unix_s")):
            value = facts.get(fact)
            if isinstance(value, int):
                gauge.labels(*labels).set(value)

    def forget(self, uplink: str, target: str | None = None) -> None:
        """Show nothing of *uplink* any longer, or of one *target* over it."""
        self._places = {place for place in self._places if place[0] != uplink or target not in (None, place[1])}
        of = {"uplink": uplink} | ({} if target is None else {"target": target})
        for gauge in (self._phase, self._version, self._expiry):
            gauge.remove_by_labels(of)
