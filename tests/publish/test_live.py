"""Live figures: jitter as arrivals go, a voice score over the last minute, and nothing where nothing is known."""

import shutil
import subprocess
from itertools import pairwise

import pytest
from prometheus_client import generate_latest

from wanwatch.core.account import voice
from wanwatch.core.model import NS_PER_S, Kind, Outcome, Role, Sample, Series
from wanwatch.publish import Metrics

NEAR = Series("fibre", "near", Kind.ECHO, Role.LINE)
FAR = Series("fibre", "far", Kind.STAMP, Role.LINE)
GATEWAY = Series("fibre", "gateway", Kind.ECHO, Role.GATEWAY)
MS = 1_000_000


def make() -> Metrics:
    metrics = Metrics("harbour-lane", "1.2.3")
    metrics.follow(("fibre", "copper"))
    return metrics


def tell(metrics: Metrics, second: int, rtt_ms: float | None, series: Series = NEAR) -> None:
    """One probe of a second, answered after so long or lost."""
    known_ns = second * NS_PER_S
    if rtt_ms is None:
        metrics.sample(Sample(series, known_ns, known_ns, known_ns, Outcome.LOST))
    else:
        metrics.sample(Sample(series, known_ns, known_ns, known_ns, Outcome.ANSWERED, round(rtt_ms * MS)))


def jitter(metrics: Metrics, series: Series = NEAR) -> float | None:
    labels = {"site": "harbour-lane", "uplink": series.uplink, "target": series.target, "kind": series.kind.value}
    return metrics.registry.get_sample_value("wanwatch_jitter_seconds", labels)


def mos(metrics: Metrics, uplink: str = "fibre") -> float | None:
    return metrics.registry.get_sample_value("wanwatch_voice_mos", {"site": "harbour-lane", "uplink": uplink})


def test_jitter_runs_along_with_the_probes_that_arrive() -> None:
    """RFC 3550 appendix A.8: the difference is between the two that arrived; one lost between them changes nothing."""
    metrics = make()
    transits = [50, 52, None, 49, 55, None, None, 50, 49]
    for second, transit in enumerate(transits):
        tell(metrics, second, transit)
    arrived, expected = [transit * MS for transit in transits if transit is not None], 0.0
    for before, after in pairwise(arrived):
        expected += (abs(after - before) - expected) / 16
    assert jitter(metrics) == pytest.approx(expected / NS_PER_S, abs=16e-9)


def test_jitter_needs_two_answers() -> None:
    """Of one arrival there is no difference: the metric is absent, not zero."""
    metrics = make()
    tell(metrics, 0, 50)
    assert jitter(metrics) is None
    tell(metrics, 1, 50)
    assert jitter(metrics) == 0


def test_only_what_speaks_for_the_line_is_told() -> None:
    """A gateway is no line."""
    metrics = make()
    for second, rtt_ms in pairwise([1, 2, 3]):
        tell(metrics, second, rtt_ms, GATEWAY)
    assert jitter(metrics, GATEWAY) is None
    assert mos(metrics) is None


def test_a_call_is_rated_by_the_last_minute() -> None:
    """ITU-T G.107: a bad minute counts for a minute, and then no more."""
    metrics = make()
    for second in range(100):
        tell(metrics, second, None if second < 30 and second % 2 else 80)
    metrics.tick(99 * NS_PER_S)
    assert mos(metrics) == voice.line(0.080, 0, voice.CODECS["g711-plc"]).mos
    metrics = make()
    for second in range(60):
        tell(metrics, second, None if second % 10 == 0 else 80)
    metrics.tick(59 * NS_PER_S)
    assert mos(metrics) == pytest.approx(voice.line(0.080, 0.1, voice.CODECS["g711-plc"]).mos)


def test_the_best_target_speaks_for_the_uplink() -> None:
    """One silent or slow target is that target's trouble."""
    metrics = make()
    for second in range(60):
        tell(metrics, second, 10, NEAR)
        tell(metrics, second, 600, FAR)
    metrics.tick(60 * NS_PER_S)
    assert mos(metrics) == voice.line(0.010, 0, voice.CODECS["g711-plc"]).mos
    assert mos(metrics, "copper") is None


def test_the_codec_is_that_of_the_configuration() -> None:
    """A reload may change it."""
    metrics = make()
    tell(metrics, 1, 10)
    metrics.follow(("fibre", "copper"), "g729a")
    assert mos(metrics) == voice.line(0.010, 0, voice.CODECS["g729a"]).mos


def test_a_silent_line_has_no_score_and_one_no_longer_asked_no_jitter() -> None:
    """What is not known is absent; a gauge that stands still would look like a measurement."""
    metrics = make()
    for second in range(3):
        tell(metrics, second, 10)
    metrics.tick(120 * NS_PER_S)
    assert mos(metrics) is None
    assert jitter(metrics) == 0
    metrics.tick(3700 * NS_PER_S)
    assert jitter(metrics) is None


def test_what_is_noted_stays_bounded() -> None:
    """However quickly a series is asked, it keeps no more than a minute and no more than 6000 probes."""
    metrics = make()
    for number in range(20_000):
        metrics.sample(Sample(NEAR, 0, 0, number, Outcome.ANSWERED, 1000))
    assert len(metrics.live._series[NEAR].window) == 6000
    tell(metrics, 3600, 10)
    assert len(metrics.live._series[NEAR].window) == 1


def test_an_uplink_that_is_gone_leaves_no_live_figure() -> None:
    """After a reload, /metrics does not speak of lines that are no longer configured."""
    metrics = make()
    tell(metrics, 0, 10)
    tell(metrics, 1, 10)
    metrics.follow(("copper",))
    assert (jitter(metrics), mos(metrics)) == (None, None)


def test_promtool_has_nothing_to_mend() -> None:
    """Prometheus' own linter reads names, units, types and help texts."""
    promtool = shutil.which("promtool")
    if promtool is None:
        pytest.skip("there is no promtool on this machine")
    metrics = make()
    tell(metrics, 0, 10)
    tell(metrics, 1, 11)
    text = generate_latest(metrics.registry)
    assert b"wanwatch_jitter_seconds{" in text
    assert b"wanwatch_voice_mos{" in text
    checked = subprocess.run([promtool, "check", "metrics"], input=text, capture_output=True, check=False)
    assert (checked.returncode, checked.stdout, checked.stderr) == (0, b"", b"")
