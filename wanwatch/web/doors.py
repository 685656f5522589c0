"""Doors: asks each request what it has to show. The rules themselves are pure, in `wanwatch.core.door`."""

import asyncio
import hmac
import logging
import math
import os
import secrets
import socket
import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from ipaddress import ip_address
from typing import Final
from urllib.parse import quote, urlsplit

from aiohttp import web
from aiohttp.typedefs import Handler, Middleware

from wanwatch.asker import account
from wanwatch.core.door import Key, Keys, Limits, Ruling, Sessions, Shown, Sort, Tries, Why, digest, rule
from wanwatch.core.model import NS_PER_S
from wanwatch.core.ports import Clock

log = logging.getLogger("wanwatch")

_ENTRY: Final = {"/login", "/status.css", "/status.js"}
_MEASURED: Final = {"/metrics", "/health"}
_WAITING: Final = 8
"""Passwords that may wait to be looked at, one after the other."""
_OF_TOKENS: Final = Limits(free=10, burst=1000, gap_ns=NS_PER_S // 10)
"""More than for passwords: there are many programs, and a token is long."""
_NICE: Final = 10


class TooOftenError(Exception):
    """Somebody has to wait.

    Attributes:
        wait_s: For so many whole seconds.
    """

    def __init__(self, wait_ns: int) -> None:
        self.wait_s = max(1, math.ceil(wait_ns / NS_PER_S))
        super().__init__(f"too many wrong tries; wait {self.wait_s} s")


class Doors:
    """Who is let in.

    Args:
        keys: What opens them.
        clock: Where time comes from.
        closed: Called when somebody who was let in no longer is.
        refused: Called with each try that is refused.
    """

    def __init__(
        self, keys: Keys, clock: Clock, closed: Callable[[], None], refused: Callable[[Key, Why], None]
    ) -> None:
        self.keys = keys
        self._clock, self._closed, self._refused = clock, closed, refused
        self._sessions = Sessions()
        self._tries, self._token_tries = Tries(), Tries(_OF_TOKENS)
        self._waiting = 0
        # One at a time, and after probing: a password takes some tenths of a second and 16 MiB.
        self._thread = ThreadPoolExecutor(1, "password", _give_way)

    def adopt(self, keys: Keys) -> None:
        """Take other keys: with another password all sessions end."""
        before, self.keys = self.keys, keys
        if before.password != keys.password:
            self._sessions.close_all()
            self._tries.forget()
        if before != keys:
            self._closed()

    async def close(self, _app: web.Application) -> None:
        """Let nobody's password be looked at any more."""
        self._thread.shutdown(wait=False, cancel_futures=True)

    @property
    def guard(self) -> Middleware:
        """The middleware."""

        @web.middleware
        async def guard(request: web.Request, handler: Handler) -> web.StreamResponse:
            try:
                shown = self._shown(request)
            except TooOftenError as error:
                raise web.HTTPTooManyRequests(text=str(error), headers={"Retry-After": str(error.wait_s)}) from None
            ruling = rule(self.keys, _sort_of(request), shown, by_address=_by_address(request))
            return await handler(request) if ruling is Ruling.COME_IN else _refusal(request, ruling)

        return guard

    def has_session(self, request: web.Request) -> bool:
        """Whether whoever asks has signed in."""
        name = request.cookies.get(cookie_name(request))
        return name is not None and self._sessions.holds(name, self._clock.now_ns())

    async def try_password(self, said: str, address: str | None) -> bool:
        """Look whether it is the password.

        Args:
            said: What was sent.
            address: Who sent it; None: somebody on this machine, by its own socket.

        Raises:
            TooOftenError: There were too many wrong tries, or too many at once; it was not looked at.
        """
        password, whose = self.keys.password, account(address) if address else b""
        if password is None:
            return False
        wait_ns = NS_PER_S if self._waiting >= _WAITING else self._tries.begin(whose, self._clock.now_ns())
        if wait_ns:
            self._refused(Key.PASSWORD, Why.TOO_OFTEN)
            raise TooOftenError(wait_ns)
        self._waiting += 1
        try:
            right = await asyncio.get_running_loop().run_in_executor(self._thread, password.is_it, said)
        finally:
            self._waiting -= 1
        if not right or self.keys.password != password:  # another one may be in force by now
            log.warning("a wrong password from %s", address or "this machine")
            self._refused(Key.PASSWORD, Why.WRONG)
            return False
        self._tries.right(whose)
        return True

    def sign_in(self, request: web.Request, response: web.StreamResponse) -> None:
        """Begin a session, never one whose id somebody brought along; end the one that it had."""
        self._end(request)
        name = secrets.token_urlsafe(32)
        self._sessions.open(name, self._clock.now_ns())
        response.set_cookie(
            cookie_name(request), name, path="/", httponly=True, samesite="Strict", secure=request.secure
        )

    def sign_out(self, request: web.Request, response: web.StreamResponse) -> None:
        """End the session, and what it looks on at."""
        self._end(request)
        self._closed()
        response.del_cookie(cookie_name(request), path="/", httponly=True, samesite="Strict", secure=request.secure)

    def _end(self, request: web.Request) -> None:
        if name := request.cookies.get(cookie_name(request)):
            self._sessions.close(name)

    def _shown(self, request: web.Request) -> Shown:
        if _is_near(request):
            return Shown.RIGHT
        scheme, _, token = request.headers.get("Authorization", "").partition(" ")
        if self.keys.tokens and scheme.lower() == "bearer":
            return Shown.RIGHT if self._try_token(token.strip(), str(request.remote)) else Shown.WRONG
        return Shown.RIGHT if self.has_session(request) else Shown.NOTHING

    def _try_token(self, token: str, address: str) -> bool:
        whose, shown = account(address), digest(token)
        again = self._token_tries.is_again(whose, shown)
        if not again and (wait_ns := self._token_tries.begin(whose, self._clock.now_ns(), shown)):
            self._refused(Key.TOKEN, Why.TOO_OFTEN)
            raise TooOftenError(wait_ns)
        # All are compared with, so that the time taken tells nothing.
        if sum(hmac.compare_digest(shown, kept) for kept in self.keys.tokens):
            self._token_tries.right(whose)
            return True
        self._refused(Key.TOKEN, Why.WRONG)
        if not again:
            log.warning("a wrong token from %s", address)
        return False


def cookie_name(request: web.Request) -> str:
    """Return the name of the session's cookie; a browser takes `__Host-` from this very host and over TLS only."""
    return COOKIE_BY_TLS if request.secure else COOKIE


COOKIE: Final = "wanwatch"
COOKIE_BY_TLS: Final = "__Host-wanwatch"


def _sort_of(request: web.Request) -> Sort:
    """Say what is asked for, by the route that will answer and not by what the path looks like."""
    resource = request.match_info.route.resource
    path = request.path if resource is None else resource.canonical
    if path in _ENTRY:
        return Sort.ENTRY
    if path in _MEASURED:
        return Sort.MEASURED
    return Sort.API if path.startswith("/api/") else Sort.PAGE


def go_to(way: str) -> web.Response:
    """Send a browser on to a page of ours; as it is written, and not as a library would quote it anew."""
    return web.Response(status=303, headers={"Location": way})


def _refusal(request: web.Request, ruling: Ruling) -> web.Response:
    if ruling is Ruling.NO_ADDRESS:
        raise web.HTTPMisdirectedRequest(text="Ask by address, such as 127.0.0.1, or set a password or a token.")
    if ruling is Ruling.SIGN_IN:
        wanted = request.raw_path if request.method in {"GET", "HEAD"} else "/"
        return go_to("/login" if wanted == "/" else f"/login?to={quote(wanted, safe='')}")
    raise web.HTTPUnauthorized(text="Show a token: Authorization: Bearer ...", headers={"WWW-Authenticate": "Bearer"})


def _by_address(request: web.Request) -> bool:
    """Whether we were asked by an address: a stranger's page could have any name of its own lead to loopback."""
    # Never request.host: where none is said, some releases of aiohttp look up our own name, and all waits for that.
    said = request.headers.get("Host")
    try:
        host = None if said is None else urlsplit(f"//{said}").hostname or ""
        if host not in {None, "localhost"}:
            ip_address(host)
    except ValueError:
        return False
    return True


def _is_near(request: web.Request) -> bool:
    """Whether it came through this machine's own socket, which only the daemon's user and group can open."""
    held = None if request.transport is None else request.transport.get_extra_info("socket")
    return held is not None and held.family == socket.AF_UNIX


def _give_way() -> None:
    with suppress(OSError):
        os.setpriority(os.PRIO_PROCESS, threading.get_native_id(), _NICE)  # Linux: of this thread alone
