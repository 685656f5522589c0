"""What is told of inspections of resolvers."""

from prometheus_client import CollectorRegistry

from wanwatch.core.resolving import Findings, Sign
from wanwatch.publish import news
from wanwatch.publish.resolving import ResolvingMetrics

PLACE = ("fibre", "192.0.2.53")
LABELS = {"site": "harbour-lane", "uplink": "fibre", "resolver": "192.0.2.53"}


def found(rewriting: Sign = Sign.NO, validates: Sign | None = None, *differs_on: str) -> Findings:
    """What an inspection found."""
    return Findings(rewriting=rewriting, sure=False, validates=validates, differs_on=differs_on)


def test_what_is_undecided_is_absent_rather_than_old() -> None:
    """A gauge that keeps its last value would tell as known what is not known any more."""
    registry = CollectorRegistry()
    metrics = ResolvingMetrics("harbour-lane", registry)

    def shown() -> list[float | None]:
        names = ("wanwatch_names_rewriting", "wanwatch_names_validating", "wanwatch_names_differing")
        return [registry.get_sample_value(name, LABELS) for name in names]

    metrics.show({PLACE: found(Sign.YES, Sign.NO, "www.example.com")})
    assert shown() == [1, 0, 1]
    metrics.show({PLACE: found(Sign.UNDECIDED, None)})
    assert shown() == [None, None, 0]
    metrics.forget("fibre")
    assert shown() == [None, None, None]


def test_news_is_told_once() -> None:
    """A log line for every inspection would be noise."""
    bad = {PLACE: found(Sign.YES, Sign.NO, "www.example.com")}
    assert news({}, bad) == [
        "fibre: the resolver 192.0.2.53 gives addresses for names that do not exist",
        "fibre: the resolver 192.0.2.53 resolves a name whose signature is broken: it does not validate",
        "fibre: the resolver 192.0.2.53 gives other addresses than another one for www.example.com",
    ]
    assert news(bad, bad) == []
    assert news(bad, {PLACE: found()}) == []
    assert len(news({PLACE: found()}, bad)) == 3
