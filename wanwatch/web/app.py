"""The daemon's HTTP side: pages for people, the API for programs, /metrics and /health.

Sources:  RFC 9110; CSP level 3. Who is let in, `doors` says.
"""

import json
import os
import socket
import ssl
from collections.abc import Awaitable, Callable
from typing import Final

from aiohttp import web
from prometheus_client import CollectorRegistry

from wanwatch import __version__
from wanwatch.core.door import Key, Keys, Why
from wanwatch.core.errors import WanwatchError
from wanwatch.web.api import Api
from wanwatch.web.doors import Doors
from wanwatch.web.entry import Entry
from wanwatch.web.exposition import Exposition
from wanwatch.web.office import Office, Reader
from wanwatch.web.pages import Pages
from wanwatch.web.patience import IN_ONE_GO, Patience, Runner
from wanwatch.web.stream import Stream
from wanwatch.web.views import told

LARGEST: Final = 16 * 1024
"""No request that is meant for us has a larger body."""
_HEADERS: Final = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
        "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",  # with "no-referrer" a form of ours would not say that it is from here
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
}
_Handler = Callable[[web.Request], Awaitable[web.StreamResponse]]


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


STREAM: Final = web.AppKey("stream", Stream)
READER: Final = web.AppKey("reader", Reader)
DOORS: Final = web.AppKey("doors", Doors)
OPEN: Final = Keys()


def make_app(
    registry: CollectorRegistry,
    office: Office,
    keys: Keys = OPEN,
    refused: Callable[[Key, Why], None] = lambda _key, _why: None,
) -> web.Application:
    """Build the application.

    Args:
        registry: What /metrics shows.
        office: Where pages and API have their facts from.
        keys: What requests have to show; without any, only machines that use an address may ask.
        refused: Called with each password or token that is refused.
    """
    reader = Reader(office)
    stream = Stream(lambda: told(office.lately()))
    doors = Doors(keys, office.clock, stream.drop, refused)
    pages = Pages(office, reader, lambda: doors.keys.password is not None)
    entry = Entry(doors, pages.render)
    api = Api(office, reader, stream, version=__version__, keys=lambda: doors.keys)

    async def show_health(_request: web.Request) -> web.Response:
        said = office.health()
        return web.json_response(said, status=200 if said["status"] == "ok" else 503)

    app = web.Application(
        middlewares=[Patience().handle, _in_their_words, _small, doors.guard], client_max_size=LARGEST
    )
    app[STREAM], app[READER], app[DOORS] = stream, reader, doors
    app.on_response_prepare.append(_secure)
    app.on_shutdown.append(stream.let_go)
    app.on_cleanup.append(doors.close)
    app.cleanup_ctx.append(stream.beat)
    app.add_routes([web.get("/metrics", Exposition(registry).answer), web.get("/health", show_health)])
    app.add_routes([*pages.routes, *entry.routes, *api.routes])
    return app


def adopt(app: web.Application, keys: Keys) -> None:
    """Ask for other keys from now on.

    Args:
        app: Made by `make_app`.
        keys: What requests have to show.
    """
    app[DOORS].adopt(keys)


def happened(app: web.Application, kind: str, uplink: str | None) -> None:
    """Tell onlookers that something has changed, and that what was read of the record is old.

    Args:
        app: Made by `make_app`.
        kind: `state`, `carrying` or `event`.
        uplink: Of which uplink; None for the site.
    """
    app[READER].forget()
    app[STREAM].tell(kind, {"uplink": uplink})


async def serve(
    app: web.Application, host: str, port: int, *, tls: ssl.SSLContext | None = None, near: socket.socket | None = None
) -> web.AppRunner:
    """Start listening; the caller cleans the runner up.

    Args:
        app: Made by `make_app`.
        host: The address to listen on.
        port: The TCP port.
        tls: If given, only TLS is spoken there.
        near: A socket of this machine's own to listen on as well.

    Raises:
        ListenError: The address is taken, not ours, or not permitted.
    """
    runner = Runner(app, tls=tls)
    await runner.setup()
    try:
        await web.TCPSite(runner, host, port, backlog=IN_ONE_GO).start()
        if near is not None:
            await web.SockSite(runner, near, backlog=IN_ONE_GO).start()
    except OSError as error:
        await runner.cleanup()
        if near is not None:
            near.close()
        raise ListenError(host, port, os.strerror(error.errno or 0)) from error
    return runner


@web.middleware
async def _in_their_words(request: web.Request, handler: _Handler) -> web.StreamResponse:
    """Tell programs of errors in JSON, and a record that cannot be read as such."""
    try:
        return await handler(request)
    except WanwatchError as error:
        status, text, headers = 503, str(error), {}
    except web.HTTPException as error:
        if not request.path.startswith("/api/") or error.status < 400:  # noqa: PLR2004 - RFC 9110 section 15.5
            raise
        status, text = error.status, error.text or error.reason
        headers = {
            name: error.headers[name] for name in ("Allow", "Retry-After", "WWW-Authenticate") if name in error.headers
        }
    body = json.dumps({"error": text})
    return web.Response(text=body, status=status, headers=headers, content_type="application/json")


@web.middleware
async def _small(request: web.Request, handler: _Handler) -> web.StreamResponse:
    """Refuse what nobody needs before any of it is read."""
    if (request.content_length or 0) > LARGEST or (request.method in {"GET", "HEAD"} and request.body_exists):
        raise web.HTTPRequestEntityTooLarge(LARGEST, request.content_length or 0)
    return await handler(request)


async def _secure(_request: web.Request, response: web.StreamResponse) -> None:
    for name, value in _HEADERS.items():
        response.headers.setdefault(name, value)
