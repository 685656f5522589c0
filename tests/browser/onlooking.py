"""Opens the daemon's pages in a browser, and notes what that asked of which host and how much came."""

import contextlib
from collections.abc import AsyncIterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final
from urllib.parse import urlsplit

import pytest
from playwright.async_api import Browser, Error, Page, Request

from tests.browser.chromium import NEEDED
from tests.fakes.web import troubled_office
from wanwatch.core.door import Keys
from wanwatch.publish import Metrics
from wanwatch.web.app import OPEN, make_app, serve
from wanwatch.web.office import Office

IN_A_BROWSER: Final = [*NEEDED, pytest.mark.asyncio(loop_scope="session")]
"""Marks of tests that share the browser."""
SCHEMES: Final = ("light", "dark")
KINDS: Final = {
    "status": "/",
    "uplink": "/uplink/fibre",
    "incident": "/incident/incident-outage-now-fibre",
    "reports": "/reports",
}
"""A page of each kind, of `troubled_office`."""
WIDTHS: Final = (320, 390, 768, 1280)
"""CSS pixels; the first is the width at which WCAG 2.1 asks for no scrolling to the side (1.4.10, reflow)."""
TOO_WIDE: Final = """() => {
  const across = document.documentElement.clientWidth;
  const found = [...document.querySelectorAll("body *")].filter(one => one.getBoundingClientRect().right > across + 1);
  return [document.documentElement.scrollWidth - across, ...found.map(one => one.outerHTML.slice(0, 120))];
}"""
"""By how much a page is wider than its window, and what of it stands out."""


@dataclass
class Asked:
    """What a page has asked for.

    Attributes:
        hosts: Of whom.
        size_bytes: How much came back, bodies as they went over the wire.
        faults: What the page's console said of errors.
    """

    hosts: set[str] = field(default_factory=set)
    size_bytes: int = 0
    faults: list[str] = field(default_factory=list)

    async def count(self, request: Request) -> None:
        """Count a request that has come to its end, unless the page is closed by then: that one nobody weighs."""
        with contextlib.suppress(Error):
            self.size_bytes += (await request.sizes())["responseBodySize"]


@contextlib.asynccontextmanager
async def looking(browser: Browser, *, width: int = 1280, **settings: Any) -> AsyncIterator[tuple[Page, Asked]]:
    """An empty page of a browser that knows nothing yet."""
    context = await browser.new_context(viewport={"width": width, "height": 900}, **settings)
    asked = Asked()
    context.on("request", lambda request: asked.hosts.add(urlsplit(request.url).hostname or request.url))
    context.on("requestfinished", asked.count)
    page = await context.new_page()
    page.on("console", lambda said: asked.faults.append(said.text) if said.type == "error" else None)
    page.on("pageerror", lambda error: asked.faults.append(str(error)))
    page.set_default_timeout(10_000)
    try:
        yield page, asked
    finally:
        await context.close()


@contextlib.asynccontextmanager
async def serving_office(office: Office, keys: Keys = OPEN) -> AsyncIterator[str]:
    """Serve the pages of an office to whoever has the keys; yield where."""
    runner = await serve(make_app(Metrics("s", "1").registry, office, keys), "127.0.0.1", 0)
    try:
        yield f"http://127.0.0.1:{runner.addresses[0][1]}"
    finally:
        await runner.cleanup()


@contextlib.asynccontextmanager
async def troubled(folder: Path, *names: str) -> AsyncIterator[str]:
    """Serve an office in which all that pages can show is there; *names*: its own and its lines'."""
    async with serving_office(troubled_office(folder, *names)) as at:
        yield at
