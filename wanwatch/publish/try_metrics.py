"""Try metrics: how often somebody was refused who tried to get in."""

from prometheus_client import CollectorRegistry, Counter

from wanwatch.core.door import Key, Why


class TryMetrics:
    """One counter.

    Args:
        site: The site's name, a label of it.
        registry: Where it is shown.
    """

    def __init__(self, site: str, registry: CollectorRegistry) -> None:
        refused = Counter(
            "wanwatch_web_refused_tries", "Passwords and tokens that were refused, by what was tried and why.",
            ("site", "key", "why"), registry=registry,
        )  # fmt: skip
        # All are there from the start, so that rates see the first rise.
        self._refused = {(key, why): refused.labels(site, key.value, why.value) for key in Key for why in Why}

    def refused(self, key: Key, why: Why) -> None:
        """Count one."""
        self._refused[key, why].inc()
