"""Metrics of fetches and connections."""

from collections.abc import Mapping

from prometheus_client import CollectorRegistry

from wanwatch.core.model import Json, Kind, Outcome, Role, Sample, Series
from wanwatch.publish.fetches import FetchMetrics

SERIES = Series("fibre", "page", Kind.HTTP, Role.LINE)
LABELS = {"site": "harbour-lane", "uplink": "fibre", "target": "page"}


def fetched(facts: Mapping[str, Json] | None) -> Sample:
    """A fetch that learnt this."""
    return Sample(SERIES, 0, 0, 0, Outcome.ANSWERED, 1, facts=facts)


def test_each_step_of_the_last_fetch_is_shown_in_seconds() -> None:
    """Base units; a step that the last fetch had not is absent, not left over from an earlier one."""
    registry = CollectorRegistry()
    metrics = FetchMetrics("harbour-lane", registry)
    metrics.sample(fetched({"dns_ns": 30_000_000, "connect_ns": 20_000_000, "tls_ns": 40_000_000}))
    metrics.sample(fetched({"connect_ns": 10_000_000, "first_byte_ns": 5_000_000, "status": 204}))

    def phase(name: str) -> float | None:
        return registry.get_sample_value("wanwatch_fetch_phase_seconds", {**LABELS, "phase": name})

    names = ("dns", "connect", "tls", "first-byte")
    assert [phase(name) for name in names] == [None, 0.01, None, 0.005]
    metrics.sample(fetched(None))  # nobody answered at all
    assert [phase(name) for name in names] == [None] * 4


def test_the_family_and_the_certificates_end_are_shown_until_the_uplink_goes() -> None:
    """A handshake that fails says nothing of the certificate, so what was known of it stays."""
    registry = CollectorRegistry()
    metrics = FetchMetrics("harbour-lane", registry)
    metrics.sample(fetched({"connect_ns": 1, "family": 6, "cert_expires_unix_s": 1_800_000_000}))
    metrics.sample(fetched({"connect_ns": 1}))
    metrics.sample(fetched(None))
    assert registry.get_sample_value("wanwatch_fetch_ip_version", LABELS) == 6
    assert registry.get_sample_value("wanwatch_certificate_expiry_timestamp_seconds", LABELS) == 1_800_000_000
    metrics.forget("fibre")
    assert registry.get_sample_value("wanwatch_fetch_ip_version", LABELS) is None
