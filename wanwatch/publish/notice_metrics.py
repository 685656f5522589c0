"""Notice metrics: whether our signs of life are heard."""

from prometheus_client import CollectorRegistry, Gauge

from wanwatch.core.model import NS_PER_S


class NoticeMetrics:
    """A metric of a site, absent until there is something to say.

    Args:
        site: The site's name, its label.
        registry: Where it is shown.
    """

    def __init__(self, site: str, registry: CollectorRegistry) -> None:
        self._site = site
        self._heard = Gauge(
            "wanwatch_ping_timestamp_seconds",
            "When our sign of life was last heard; absent until it is, and where none is sent.",
            ("site",), registry=registry,
        )  # fmt: skip

    def heard(self, unix_ns: int) -> None:
        """Show when a sign of life was heard."""
        self._heard.labels(self._site).set(unix_ns / NS_PER_S)

    def forget_heard(self) -> None:
        """Show nothing of signs of life: none are sent any longer."""
        self._heard.clear()
