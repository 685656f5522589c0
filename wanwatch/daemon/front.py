"""Front: what the daemon shows over HTTP, joined to what it knows."""

import asyncio
import logging
import socket
import ssl
from collections.abc import Callable
from ipaddress import ip_address
from pathlib import Path

from aiohttp import web

from wanwatch.config import Config
from wanwatch.config.listen import Listen
from wanwatch.config.plan import store_path
from wanwatch.core.door import Keys
from wanwatch.core.model import NS_PER_S, CarryingChanged, Effect, Json, StateChanged, Tell
from wanwatch.core.ports import Clock
from wanwatch.publish import Metrics
from wanwatch.store import SqliteRecord
from wanwatch.tls import Certificate, CertificateError, doubt, server_context
from wanwatch.web import near
from wanwatch.web.app import adopt, happened, make_app, serve
from wanwatch.web.office import Office

log = logging.getLogger("wanwatch")


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
        self._opened: Listen | None = None
        self._certificate: Certificate | None = None
        self._near: Path | None = None

    @property
    def address(self) -> str:
        """Where it listens, such as `http://127.0.0.1:9470`; valid once it is open."""
        assert self._runner is not None  # noqa: S101  # a caller's mistake, not a state that can be met
        host, port = self._runner.addresses[0][:2]
        scheme = "https" if self._certificate else "http"
        return f"{scheme}://[{host}]:{port}" if ":" in host else f"{scheme}://{host}:{port}"

    async def open(self) -> None:
        """Begin to listen.

        Raises:
            ListenError: The address cannot be had.
            CertificateError: The certificate or its key cannot be used.
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
        if listen.certificate is not None:
            self._certificate = Certificate(self._context(listen.certificate, listen.key))
        held = _near(path.parent)
        self._near = path.parent if held else None
        app = make_app(self._metrics.registry, office, keys_of(listen), self._metrics.tries.refused)
        self._runner = await serve(
            app, listen.address, listen.port,
            tls=self._certificate.listening if self._certificate else None, near=held,
        )  # fmt: skip
        self._opened = listen

    async def close(self) -> None:
        """Stop listening."""
        if self._runner is not None:
            await self._runner.cleanup()
        if self._near is not None:
            near.release(self._near)

    async def look(self) -> None:
        """Take up passwords and tokens as the configuration has them now, and certificates as their files do.

        Where the address is another one, or TLS came or went, all stays as it was opened: what will do at the new
        address may be too little at the one that is listened on.
        """
        assert self._runner is not None and self._opened is not None  # noqa: S101, PT018  # a caller's mistake
        listen = self._config().listen
        if listen.place != self._opened.place or (listen.certificate is None) is not (self._certificate is None):
            log.warning("listen: nothing of it is taken up before the next start, as the address, or TLS, is another")
            return
        adopt(self._runner.app, keys_of(listen))
        if listen.certificate is not None and self._certificate is not None:
            try:
                self._certificate.now = await asyncio.to_thread(self._context, listen.certificate, listen.key)
            except CertificateError as error:  # exchanged since the configuration was read
                log.error("listen: the former certificate stays in use: %s", error)  # noqa: TRY400  # a person's mistake

    def _context(self, certificate: Path, key: Path | None) -> ssl.SSLContext:
        context = server_context(certificate, key)
        if said := doubt(context, certificate, self._clock.now_unix_ns() / NS_PER_S):
            log.warning("listen: the certificate of the page: %s", said)
        return context

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


def keys_of(listen: Listen) -> Keys:
    """Return what requests have to show."""
    return Keys(listen.password, listen.tokens, near=ip_address(listen.address).is_loopback)


def _near(folder: Path) -> socket.socket | None:
    try:
        return near.bind(folder)
    except OSError as error:
        log.warning("commands on this machine ask by the network: %s takes no socket: %s", folder, error.strerror)
        return None
