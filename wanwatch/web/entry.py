"""Entry: the page to sign in on, and the way out. Works without a script.

A form of somebody else's page is refused by where it came from, so no hidden number is needed in ours.

Sources:  RFC 6265bis (cookies); RFC 9110; WHATWG URL (forms).
"""

import asyncio
from collections.abc import Callable
from typing import Final
from urllib.parse import parse_qs

from aiohttp import web

from wanwatch.core.door import is_from_elsewhere, way_back
from wanwatch.web.doors import Doors, TooOftenError, go_to

_BODY_S: Final = 10.0
"""A form of a line takes no longer, however slow the way is."""
_FORM: Final = "application/x-www-form-urlencoded"


class Entry:
    """Signs people in and out.

    Args:
        doors: Who is let in.
        render: Makes a page of a template and its values.
    """

    def __init__(self, doors: Doors, render: Callable[..., web.Response]) -> None:
        self._doors, self._render = doors, render

    @property
    def routes(self) -> list[web.RouteDef]:
        """All that is to be signed in and out by."""
        return [
            web.get("/login", self.ask),
            web.post("/login", self.sign_in),
            web.post("/logout", self.sign_out),
        ]

    async def ask(self, request: web.Request) -> web.Response:
        """Ask for the password, unless that is done with."""
        to = way_back(request.query.get("to", "/"))
        if self._doors.keys.password is None or self._doors.has_session(request):
            return go_to(to)
        # Who follows a link from elsewhere shows no cookie of SameSite=Strict; asked again from here, the browser does.
        again = request.headers.get("Sec-Fetch-Site") == "cross-site"
        return self._page(to, again=again)

    async def sign_in(self, request: web.Request) -> web.Response:
        """Look at the password; let its sender go on to where it wanted."""
        _only_from_here(request)
        if request.content_type != _FORM:
            raise web.HTTPUnsupportedMediaType(text="Send the form of /login.")
        fields = await _fields(request)
        to = way_back(fields.get("to", "/"))
        try:
            right = await self._doors.try_password(fields.get("password", ""), request.remote)
        except TooOftenError as error:
            page = self._page(to, f"Too many tries. Try again in {error.wait_s} s.", status=429)
            page.headers["Retry-After"] = str(error.wait_s)
            return page
        if not right:
            return self._page(to, "That is not the password.", status=403)
        response = go_to(to)
        self._doors.sign_in(request, response)
        return response

    async def sign_out(self, request: web.Request) -> web.Response:
        """End the session."""
        _only_from_here(request)
        response = go_to("/login")
        self._doors.sign_out(request, response)
        return response

    def _page(self, to: str, said: str = "", *, status: int = 200, again: bool = False) -> web.Response:
        page = self._render("login.html", to=to, said=said, again=again)
        page.set_status(status)
        return page


def _only_from_here(request: web.Request) -> None:
    origin, fetch_site = (request.headers.get(name) for name in ("Origin", "Sec-Fetch-Site"))
    if is_from_elsewhere(request.headers.get("Host", ""), origin, fetch_site):
        raise web.HTTPForbidden(text="This was not sent by a page of this site, or a proxy changed Host on the way.")


async def _fields(request: web.Request) -> dict[str, str]:
    try:
        async with asyncio.timeout(_BODY_S):
            body = await request.read()
    except TimeoutError:
        raise web.HTTPRequestTimeout from None
    try:
        fields = parse_qs(body.decode("utf-8"), keep_blank_values=True, max_num_fields=8)
    except ValueError:
        raise web.HTTPBadRequest(text="The form cannot be read.") from None
    return {name: values[-1] for name, values in fields.items()}
