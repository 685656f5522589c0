"""The daemon's HTTP side.

Source:   RFC 6750 (bearer token), when one is configured.
"""

import hmac
import os
from collections.abc import Callable
from typing import Final

from aiohttp import web
from prometheus_client import CollectorRegistry

from wanwatch.core.errors import WanwatchError
from wanwatch.core.model import Json
from wanwatch.web.exposition import Exposition

_HEADERS: Final = {
    "Content-Security-Policy": "default-src 'none'",
    "X-Content-Type-Options": "nosniff",
    "Cache-Control": "no-store",
}


class ListenError(WanwatchError):
    """The address to listen on cannot be had.

    Attributes:
        address: Host and port as configured.
        reason: What the system said.
    """

    def __init__(self, host: str, port: int, reason: str) -> None:
        self.address, self.reason = f"{host}:{port}", reason
        super().__init__(
            f"cannot listen on {self.address}: {reason}; choose another listen.address, or stop what holds it"
        )


def make_app(
    registry: CollectorRegistry, health: Callable[[], dict[str, Json]], token: str | None = None
) -> web.Application:
    """Build the application.

    Args:
        registry: What /metrics shows.
        health: How things stand now; its `status` is `ok` or what is wrong.
        token: If given, every request must bear it.
    """

    @web.middleware
    async def guard(request: web.Request, handler: Callable[[web.Request], object]) -> web.StreamResponse:
        if token is not None and not _bears(request, token):
            raise web.HTTPUnauthorized(headers={"WWW-Authenticate": "Bearer"})
        response = await handler(request)  # type: ignore[misc]  # aiohttp types handlers loosely
        assert isinstance(response, web.StreamResponse)  # noqa: S101  # narrows the loose type, nothing more
        response.headers.update(_HEADERS)
        return response

    async def show_health(_request: web.Request) -> web.Response:
        said = health()
        return web.json_response(said, status=200 if said["status"] == "ok" else 503)

    app = web.Application(middlewares=[guard], client_max_size=16 * 1024)
    app.add_routes([web.get("/metrics", Exposition(registry).answer), web.get("/health", show_health)])
    return app


async def serve(app: web.Application, host: str, port: int) -> web.AppRunner:
    """Start listening; the caller cleans the runner up.

    Raises:
        ListenError: The address is taken, not ours, or not permitted.
    """
    runner = web.AppRunner(app, access_log=None, shutdown_timeout=0.5)
    await runner.setup()
    try:
        await web.TCPSite(runner, host, port).start()
    except OSError as error:
        await runner.cleanup()
        raise ListenError(host, port, os.strerror(error.errno or 0)) from error
    return runner


def _bears(request: web.Request, token: str) -> bool:
    return hmac.compare_digest(request.headers.get("Authorization", "").encode(), f"Bearer {token}".encode())
