"""What inspections of resolvers found: metrics, and sentences for the log."""

from collections.abc import Mapping
from typing import Final

from prometheus_client import CollectorRegistry, Gauge

from wanwatch.core.resolving import Findings, Place, Sign

_SHOWN: Final = {Sign.YES: 1, Sign.NO: 0}


class ResolvingMetrics:
    """The findings of the last inspection. What is undecided, or was not asked, is absent.

    Args:
        site: The site's name.
        registry: Where the metrics are shown.
    """

    def __init__(self, site: str, registry: CollectorRegistry) -> None:
        self._site = site
        labels = ("site", "uplink", "resolver")
        self._rewriting = Gauge(
            "wanwatch_names_rewriting", "1 if the resolver gives addresses for names that do not exist, else 0.",
            labels, registry=registry,
        )  # fmt: skip
        self._validating = Gauge(
            "wanwatch_names_validating", "1 if the resolver validates DNSSEC signatures, else 0.",
            labels, registry=registry,
        )  # fmt: skip
        self._differing = Gauge(
            "wanwatch_names_differing", "Names for which another resolver gave other addresses.",
            labels, registry=registry,
        )  # fmt: skip

    def show(self, found: Mapping[Place, Findings]) -> None:
        """Show the findings of an inspection."""
        for (uplink, resolver), one in found.items():
            labels = (self._site, uplink, resolver)
            for gauge, verdict in ((self._rewriting, one.rewriting), (self._validating, one.validates)):
                if verdict in _SHOWN:
                    gauge.labels(*labels).set(_SHOWN[verdict])
                else:
                    gauge.remove(*labels)
            self._differing.labels(*labels).set(len(one.differs_on))

    def forget(self, uplink: str, resolver: str | None = None) -> None:
        """Show nothing of *uplink* any longer, or of one *resolver* of its."""
        of = {"uplink": uplink} | ({} if resolver is None else {"resolver": resolver})
        for gauge in (self._rewriting, self._validating, self._differing):
            gauge.remove_by_labels(of)


def news(before: Mapping[Place, Findings], after: Mapping[Place, Findings]) -> list[str]:
    """Return in sentences what is known *after* an inspection and was not known *before*."""
    told = []
    for place, found in after.items():
        former = before.get(place)
        who = f"{place[0]}: the resolver {place[1]}"
        if found.rewriting is Sign.YES and not (former and former.rewriting is Sign.YES):
            told.append(f"{who} gives addresses for names that do not exist")
        if found.validates is Sign.NO and not (former and former.validates is Sign.NO):
            told.append(f"{who} resolves a name whose signature is broken: it does not validate")
        new = [name for name in found.differs_on if former is None or name not in former.differs_on]
        if new:
            told.append(f"{who} gives other addresses than another one for {', '.join(new)}")
    return told
