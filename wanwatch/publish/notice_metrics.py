"""Notice metrics: what waits to be told, and whether our signs of life are heard."""

from prometheus_client import CollectorRegistry, Gauge

from wanwatch.core.model import NS_PER_S


class NoticeMetrics:
    """Three metrics of a site; each is absent until there is something to say.

    Args:
        site: The site's name, the label of each.
        registry: Where they are shown.
    """

    def __init__(self, site: str, registry: CollectorRegistry) -> None:
        self._site = site
        self._pending = Gauge(
            "wanwatch_notices_pending", "Notices that wait to be sent; absent where none are asked for.",
            ("site",), registry=registry,
        )  # fmt: skip
        self._oldest = Gauge(
            "wanwatch_notices_oldest_timestamp_seconds",
            "When the oldest notice that waits was made; absent while none waits.",
            ("site",), registry=registry,
        )  # fmt: skip
        self._heard = Gauge(
            "wanwatch_ping_timestamp_seconds",
            "When our sign of life was last heard; absent until it is, and where none is sent.",
            ("site",), registry=registry,
        )  # fmt: skip

    def waiting(self, number: int, oldest_unix_ns: int | None) -> None:
        """Show how many letters wait, and when the oldest was made; None: none waits."""
        self._pending.labels(self._site).set(number)
        if oldest_unix_ns is None:
            self._oldest.clear()
        else:
            self._oldest.labels(self._site).set(oldest_unix_ns / NS_PER_S)

    def heard(self, unix_ns: int) -> None:
        """Show when a sign of life was heard."""
        self._heard.labels(self._site).set(unix_ns / NS_PER_S)

    def forget_waiting(self) -> None:
        """Show nothing of notices: none are asked for any longer."""
        self._pending.clear()
        self._oldest.clear()

    def forget_heard(self) -> None:
        """Show nothing of signs of life: none are sent any longer."""
        self._heard.clear()
