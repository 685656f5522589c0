"""Data metrics: what this program has used of each uplink's data."""

from prometheus_client import CollectorRegistry, Counter

from wanwatch.core.databudget import Purpose


class DataMetrics:
    """One counter, by uplink and purpose.

    Args:
        site: The site's name, a label of it.
        registry: Where it is shown.
    """

    def __init__(self, site: str, registry: CollectorRegistry) -> None:
        self._site = site
        self._bytes = Counter(
            "wanwatch_data_bytes",
            "Bytes of IP packets that this program has moved over the uplink, both ways, by purpose.",
            ("site", "uplink", "purpose"), registry=registry,
        )  # fmt: skip
        self._children: dict[tuple[str, Purpose], Counter] = {}

    def count(self, uplink: str, purpose: Purpose, number: int) -> None:
        """Count *number* bytes."""
        child = self._children.get((uplink, purpose))
        if child is None:
            child = self._children[uplink, purpose] = self._bytes.labels(self._site, uplink, purpose.value)
        child.inc(number)

    def forget(self, uplink: str) -> None:
        """Show nothing of *uplink* any longer."""
        self._children = {key: child for key, child in self._children.items() if key[0] != uplink}
        self._bytes.remove_by_labels({"site": self._site, "uplink": uplink})
