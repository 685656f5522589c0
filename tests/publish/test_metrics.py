"""Metrics: counted once, labelled from the configuration only, and readable by Prometheus' own parser."""

import threading
from dataclasses import replace

from prometheus_client import generate_latest
from prometheus_client.openmetrics import exposition as openmetrics
from prometheus_client.openmetrics.parser import text_string_to_metric_families as parse_openmetrics
from prometheus_client.parser import text_string_to_metric_families

from wanwatch.core.model import (
    NS_PER_S,
    Bounds,
    CarryingChanged,
    Cause,
    Domain,
    Event,
    EventKind,
    Kind,
    Outcome,
    Role,
    Sample,
    Series,
    State,
    StateChanged,
)
from wanwatch.core.resolving import Findings, Sign
from wanwatch.publish import Metrics

FIBRE = Series("fibre", "near", Kind.ECHO, Role.LINE)
NAMES = Series("fibre", "192.0.2.53", Kind.DNS, Role.NAMES)


def make() -> Metrics:
    metrics = Metrics("harbour-lane", "1.2.3")
    metrics.follow(("fibre", "copper"))
    return metrics


def value(metrics: Metrics, name: str, **labels: str) -> float | None:
    return metrics.registry.get_sample_value(name, {"site": "harbour-lane", **labels})


def sample(outcome: Outcome, rtt_ns: int | None = None, series: Series = FIBRE, **facts: str) -> Sample:
    return Sample(series, 0, 0, 1, outcome, rtt_ns, facts=dict(facts) or None)


def test_a_sample_is_counted_as_what_it_was() -> None:
    """Sent counts what left; lost counts what had no valid answer (RFC 7680: a corrupt reply is lost)."""
    metrics = make()
    for outcome in (Outcome.LOST, Outcome.MALFORMED, Outcome.REFUSED, Outcome.NOT_SENT):
        metrics.sample(sample(outcome))
    metrics.sample(sample(Outcome.ANSWERED, 12_000_000))
    labels = {"uplink": "fibre", "target": "near", "kind": "echo"}
    assert value(metrics, "wanwatch_probe_sent_total", **labels) == 4
    assert value(metrics, "wanwatch_probe_lost_total", **labels) == 2
    assert value(metrics, "wanwatch_probe_rtt_seconds_sum", **labels) == 0.012
    assert value(metrics, "wanwatch_probe_rtt_seconds_bucket", le="0.015", **labels) == 1
    assert value(metrics, "wanwatch_probe_rtt_seconds_bucket", le="0.01", **labels) == 0


def test_exactly_one_state_of_an_uplink_is_one() -> None:
    """An enumeration has exactly one 1 (OpenMetrics 1.0, StateSet)."""
    metrics = make()
    metrics.state(StateChanged("fibre", State.DOWN, 0))
    states = {state: value(metrics, "wanwatch_uplink_state", uplink="fibre", state=state) for state in State}
    assert states == {State.UP: 0, State.IMPAIRED: 0, State.DOWN: 1, State.UNOBSERVED: 0}


def test_carrying_is_absent_while_nobody_can_tell() -> None:
    """Unknown is not zero."""
    metrics = make()
    metrics.carrying(CarryingChanged("copper", known=True))
    assert value(metrics, "wanwatch_uplink_carrying", uplink="copper") == 1
    assert value(metrics, "wanwatch_uplink_carrying", uplink="fibre") == 0
    metrics.carrying(CarryingChanged(None, known=False))
    assert value(metrics, "wanwatch_uplink_carrying", uplink="copper") is None


def test_a_switch_told_twice_is_counted_once() -> None:
    """The same event is told again whenever more is known."""
    metrics = make()
    start = Bounds(1, 1, 1)
    event = Event("failover-x", "harbour-lane", EventKind.FAILOVER, None, start,
                  from_uplink="fibre", to_uplink="copper", interruption_s=4.2)  # fmt: skip
    metrics.event(event)
    metrics.event(event)
    labels = {"kind": "failover", "from": "fibre", "to": "copper"}
    assert value(metrics, "wanwatch_switches_total", **labels) == 1
    assert value(metrics, "wanwatch_interruption_seconds_sum") == 4.2


def test_an_interruption_is_measured_once_for_a_blackout_and_its_restoration() -> None:
    """Both events carry the same interruption; it may become known only when the event is told again."""
    metrics = make()
    blackout = Event("b", "harbour-lane", EventKind.BLACKOUT, None, Bounds(1, 1, 1), from_uplink="fibre")
    restoration = Event("r", "harbour-lane", EventKind.RESTORATION, None, Bounds(2, 2, 2), to_uplink="fibre")
    for event in (
        blackout,
        replace(blackout, interruption_s=9.0),
        restoration,
        replace(restoration, interruption_s=9.0),
    ):
        metrics.event(event)
    assert value(metrics, "wanwatch_interruption_seconds_count") == 1
    assert value(metrics, "wanwatch_switches_total", kind="blackout", **{"from": "fibre", "to": "none"}) == 1


def test_time_is_added_to_the_state_that_holds() -> None:
    """Observed, unobserved and outage seconds grow by the monotonic clock."""
    metrics = make()
    metrics.tick(0)
    metrics.state(StateChanged("fibre", State.DOWN, 0))
    metrics.event(Event("o", "harbour-lane", EventKind.OUTAGE, "fibre", Bounds(0, 0, 0), domain=Domain.GATEWAY))
    metrics.tick(3 * NS_PER_S)
    assert value(metrics, "wanwatch_outage_seconds_total", uplink="fibre", domain="gateway") == 3
    assert value(metrics, "wanwatch_observed_seconds_total", uplink="fibre") == 3
    assert value(metrics, "wanwatch_unobserved_seconds_total", uplink="copper") == 3


def test_a_strange_response_code_cannot_make_a_label() -> None:
    """No label value that a stranger can choose."""
    metrics = make()
    metrics.sample(sample(Outcome.REFUSED, series=NAMES, rcode="NXDOMAIN"))
    metrics.sample(Sample(NAMES, 0, 0, 1, Outcome.REFUSED, cause=Cause.RCODE, facts={"rcode": "TYPE4711"}))
    labels = {"uplink": "fibre", "resolver": "192.0.2.53"}
    assert value(metrics, "wanwatch_names_answers_total", rcode="NXDOMAIN", **labels) == 1
    assert value(metrics, "wanwatch_names_answers_total", rcode="OTHER", **labels) == 1


def test_a_resolver_that_does_not_answer_is_counted_as_such() -> None:
    """Silence is the most common failure of all; over TLS the connection may have been made by then."""
    metrics = make()
    metrics.sample(sample(Outcome.LOST, series=NAMES))
    metrics.sample(Sample(NAMES, 0, 0, 1, Outcome.LOST, facts={"connect_ns": 1_000_000}))
    labels = {"uplink": "fibre", "resolver": "192.0.2.53"}
    assert value(metrics, "wanwatch_names_answers_total", rcode="none", **labels) == 2
    assert value(metrics, "wanwatch_names_answers_total", rcode="OTHER", **labels) is None


def test_an_uplink_that_is_gone_leaves_no_series() -> None:
    """After a reload, /metrics does not speak of lines that are no longer configured."""
    metrics = make()
    metrics.sample(sample(Outcome.ANSWERED, 1_000_000))
    metrics.event(Event("x", "harbour-lane", EventKind.FAILOVER, None, Bounds(1, 1, 1),
                        from_uplink="fibre", to_uplink="copper"))  # fmt: skip
    metrics.tick(0)
    metrics.follow(("copper",))
    assert b'"fibre"' not in generate_latest(metrics.registry)
    assert b'"copper"' in generate_latest(metrics.registry)


def test_a_last_word_about_an_uplink_that_is_gone_brings_nothing_back() -> None:
    """Probes that were under way at a reload are told afterwards."""
    metrics = make()
    metrics.follow(("copper",))
    metrics.sample(sample(Outcome.LOST))
    metrics.state(StateChanged("fibre", State.UNOBSERVED, 0))
    metrics.tick(NS_PER_S)
    assert b'"fibre"' not in generate_latest(metrics.registry)


def test_a_target_or_a_resolver_that_is_gone_leaves_no_series() -> None:
    """Nor do probes that were under way bring it back; what stays loses no count, whichever role it is asked in."""
    page, stamp = Series("fibre", "page", Kind.HTTP, Role.LINE), Series("fibre", "far", Kind.STAMP, Role.LINE)
    twice = FIBRE._replace(role=Role.TRAFFIC)
    words = [
        Sample(page, 0, 0, 1, Outcome.ANSWERED, 1_000_000, facts={"connect_ns": 1, "cert_expires_unix_s": 1}),
        Sample(stamp, 0, 0, 1, Outcome.ANSWERED, 1_000_000, facts={"lost_forward": 1, "lost_reverse": 0}),
        Sample(stamp, 0, 0, 1, Outcome.ANSWERED, 1_000_000),
        sample(Outcome.REFUSED, series=NAMES, rcode="NXDOMAIN"),
        sample(Outcome.LOST),
        sample(Outcome.LOST, series=twice),
    ]
    findings = {("fibre", NAMES.target): Findings(rewriting=Sign.YES, sure=True, validates=Sign.NO, differs_on=())}
    metrics = make()

    def told() -> list[str]:
        metrics.resolving(findings)
        for one in words:
            metrics.sample(one)
        text = generate_latest(metrics.registry).decode()
        return [one.target for one in (page, stamp, NAMES) if f'"{one.target}"' in text]

    metrics.ask([page, stamp, NAMES, FIBRE, twice])
    assert told() == ["page", "far", "192.0.2.53"]
    metrics.ask([FIBRE])
    assert told() == []
    assert value(metrics, "wanwatch_probe_lost_total", uplink="fibre", target="near", kind="echo") == 3
    metrics.ask([FIBRE, page])
    assert told() == ["page"]


def test_counters_of_outages_begin_at_nothing() -> None:
    """Prometheus instrumentation practice, avoid missing metrics: a rate sees no rise of what was not there before."""
    metrics = make()
    for domain in (*Domain, "none"):
        assert value(metrics, "wanwatch_outage_seconds_total", uplink="copper", domain=str(domain)) == 0


def test_switches_between_few_uplinks_are_counted_from_nothing_on() -> None:
    """As for outages; between many uplinks the pairs would be too many series."""
    metrics = make()
    for kind, way in (("failover", ("fibre", "copper")), ("blackout", ("copper", "none"))):
        assert value(metrics, "wanwatch_switches_total", kind=kind, **dict(zip(("from", "to"), way, strict=True))) == 0
    many = Metrics("harbour-lane", "1.2.3")
    many.follow(tuple(f"line-{number}" for number in range(5)))
    assert b"wanwatch_switches_total{" not in generate_latest(many.registry)


def test_a_scrape_on_another_thread_meets_nothing_half_done() -> None:
    """While samples, states and uplinks change, every scrape is well formed and shows one state for each uplink."""
    metrics = make()
    done = threading.Event()

    def change() -> None:
        for turn in range(10_000):
            if done.is_set():
                return
            series = Series("fibre", f"target-{turn % 50}", Kind.STAMP, Role.LINE)
            metrics.sample(Sample(series, turn, turn, turn, Outcome.ANSWERED, 1_000_000 + turn))
            metrics.state(StateChanged("fibre", list(State)[turn % 4], 0))
            if turn % 100 == 0:
                metrics.tick(turn)
                metrics.follow(("fibre", "copper", f"line-{turn}"))

    changing = threading.Thread(target=change)
    changing.start()
    try:
        for _ in range(20):
            families = {f.name: f for f in text_string_to_metric_families(generate_latest(metrics.registry).decode())}
            states = families["wanwatch_uplink_state"].samples
            assert sum(one.value for one in states if one.labels["uplink"] == "fibre") == 1
    finally:
        done.set()
        changing.join()


def test_both_exposition_formats_parse() -> None:
    """The text format 0.0.4 ends with a line feed, OpenMetrics 1.0 with # EOF; both parse with the reference parser."""
    metrics = make()
    metrics.sample(sample(Outcome.ANSWERED, 1_000_000))
    text = generate_latest(metrics.registry).decode()
    assert text.endswith("\n")
    names = {family.name for family in text_string_to_metric_families(text)}
    assert {"wanwatch_probe_sent", "wanwatch_probe_rtt_seconds", "wanwatch_uplink_state"} <= names
    open_text = openmetrics.generate_latest(metrics.registry).decode()  # type: ignore[no-untyped-call]  # theirs
    assert open_text.endswith("# EOF\n")
    families = parse_openmetrics(open_text)  # type: ignore[no-untyped-call]  # theirs
    assert {family.name for family in families} >= {"wanwatch_build", "wanwatch_switches"}
