"""A webhook's receiver on loopback, over TLS, which answers as it is told and keeps what came."""

import ssl
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

import trustme
from aiohttp import web
from multidict import CIMultiDict


class Answering:
    """Gives the answers in order, the last one for good, and keeps what came."""

    def __init__(self, *answers: web.Response | int) -> None:
        self.answers = list(answers)
        self.requests: list[tuple[web.Request, CIMultiDict[str], bytes]] = []

    async def handle(self, request: web.Request) -> web.Response:
        """Take one request."""
        self.requests.append((request, CIMultiDict(request.headers), await request.read()))
        answer = self.answers.pop(0) if len(self.answers) > 1 else self.answers[0]
        return answer if isinstance(answer, web.Response) else web.Response(status=answer)

    @property
    def bodies(self) -> list[bytes]:
        """What came."""
        return [body for _, _, body in self.requests]


@asynccontextmanager
async def hook_server(
    answering: Answering, authority: trustme.CA, host: str = "hook.example.net"
) -> AsyncIterator[str]:
    """Listen; the URL to post to."""
    app = web.Application()
    app.add_routes([web.route("*", "/{path:.*}", answering.handle)])
    runner = web.AppRunner(app)
    await runner.setup()
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    authority.issue_cert(host).configure_cert(context)
    await web.TCPSite(runner, "127.0.0.1", 0, ssl_context=context).start()
    try:
        yield f"https://{host}:{runner.addresses[0][1]}/in?key=a%20b"
    finally:
        await runner.cleanup()
