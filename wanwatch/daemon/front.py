"""Front: what the daemon shows over HTTP, joined to what it knows."""

from collections.abc import Callable

from aiohttp import web

from wanwatch.config import Config
from wanwatch.config.plan import store_path
from wanwatch.core.model import CarryingChanged, Effect, Json, StateChanged, Tell
from wanwatch.core.ports import Clock
from wanwatch.publish import Metrics
from wanwatch.store import SqliteRecord
from wanwatch.web import Office, happened, make_app, serve


class Front:
    """The HTTP side of one site's daemon.

    Args:
        clock: Where time comes from.
        metrics: What /metrics shows, and the figures of the last minute.
        config: Returns the configuration in force.
        health: How things stand.
    """

    def __init__(
        self, clock: Clock, metrics: Metrics, config: Callable[[], Config], health: Callable[[], dict[str, Json]]
    ) -> None:
        self._clock, self._metrics, self._config, self._health = clock, metrics, config, health
        self._runner: web.AppRunner | None = None

    @property
    def address(self) -> str:
        """Where it listens, such as `http://127.0.0.1:9470`; valid once it is open."""
        assert self._runner is not None  # noqa: S101  # a caller's mistake, not a state that can be met
        host, port = self._runner.addresses[0][:2]
        return f"http://[{host}]:{port}" if ":" in host else f"http://{host}:{port}"

    async def open(self) -> None:
        """Begin to listen.

        Raises:
            ListenError: The address cannot be had.
        """
        config = self._config()
        path = store_path(config)
        office = Office(
            health=self._health,
            lately=self._metrics.live.lately,
            record=lambda: SqliteRecord(path),
            zone=lambda: self._config().site.zone,
            clock=self._clock,
            reports=path.parent / "reports",
        )
        listen = config.listen
        token = listen.token.get_secret_value() if listen.token else None
        self._runner = await serve(make_app(self._metrics.registry, office, token), listen.address, listen.port)

    async def close(self) -> None:
        """Stop listening."""
        if self._runner is not None:
            await self._runner.cleanup()

    def heed(self, effect: Effect) -> None:
        """Tell onlookers of an effect that pages show; an event is kept by then."""
        if self._runner is None:
            return
        match effect:
            case StateChanged(uplink=uplink):
                happened(self._runner.app, "state", uplink)
            case CarryingChanged():
                happened(self._runner.app, "carrying", None)
            case Tell(event=event):
                happened(self._runner.app, "event", event.uplink)
