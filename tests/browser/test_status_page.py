"""The status page in a real browser, of a real daemon that watches the demo's office on loopback."""

import asyncio
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from playwright.async_api import Browser

from tests.browser.onlooking import IN_A_BROWSER, looking
from tests.fakes.living import watched
from tests.fakes.web import troubled_office
from wanwatch.demo.office import COPPER, FIBRE, QUIET
from wanwatch.publish import Metrics
from wanwatch.web.app import STREAM, make_app, serve

pytestmark = IN_A_BROWSER
SHOWN_WITHIN_S = 2.0
"""From what the daemon has concluded to what an onlooker reads."""


async def test_a_cut_shows_within_two_seconds_without_a_reload(browser: Browser, tmp_path: Path) -> None:
    """State, headline and open incident follow the stream; the page stays the same one, and so does what has focus."""
    async with watched(tmp_path) as (daemon, roads, down_at), looking(browser) as (page, asked):
        await page.goto(daemon.address)
        card = page.locator("section.card", has=page.get_by_role("heading", name=FIBRE.name))
        await card.locator(".state.up").wait_for()
        await page.get_by_role("heading", level=1, name="fibre carries the traffic").wait_for()
        await page.evaluate("window.still = document.body")
        await card.get_by_role("link").focus()

        roads.change(QUIET.with_line(FIBRE.name, replace(FIBRE.usual, silent=True)))
        await card.locator(".state.down").wait_for()
        shown_after_s = time.monotonic() - down_at[FIBRE.name]
        roads.change(roads.scene.carried_by(COPPER.name))
        await page.get_by_role("heading", level=1, name="copper carries the traffic").wait_for()
        await page.get_by_role("region", name="Going on").get_by_role("link").wait_for()

        assert await page.evaluate("window.still === document.body")
        assert await page.evaluate("document.activeElement.textContent") == FIBRE.name
    assert shown_after_s < SHOWN_WITHIN_S
    assert asked.hosts == {"127.0.0.1"}
    assert asked.faults == []


async def test_a_stream_that_begins_anew_is_no_silence(browser: Browser, tmp_path: Path) -> None:
    """Streams end now and then, as after an hour; nobody need be told who is answered again after two seconds."""
    app = make_app(Metrics("s", "1").registry, troubled_office(tmp_path))
    runner = await serve(app, "127.0.0.1", 0)
    onlookers = app[STREAM]._onlookers
    try:
        async with looking(browser) as (page, _), asyncio.timeout(20):
            await page.goto(f"http://127.0.0.1:{runner.addresses[0][1]}")
            await until(lambda: len(onlookers) == 1)
            look = "new MutationObserver(() => { window.told ||= !away.hidden })"
            await page.evaluate(look + ".observe(away, { attributeFilter: ['hidden'] })")
            (first,) = onlookers
            app[STREAM].drop()
            await until(lambda: len(onlookers) == 1 and first not in onlookers)
            assert not await page.evaluate("window.told")
    finally:
        await runner.cleanup()


async def until(true: Callable[[], bool]) -> None:
    while not true():  # noqa: ASYNC110 - what is awaited is no event of ours
        await asyncio.sleep(0.02)


async def test_figures_come_by_themselves_and_silence_of_the_daemon_is_told(browser: Browser, tmp_path: Path) -> None:
    """Delay and loss are filled in by the stream; once nobody answers, the page says that it is old."""
    async with looking(browser) as (page, _):
        async with watched(tmp_path) as (daemon, _, _):
            await page.goto(daemon.address)
            assert await page.locator("#away").is_hidden()
            cell = page.locator('[data-delay="fibre/near/stamp"]')
            await cell.filter(has_text="ms").wait_for()
            await cell.evaluate("cell => { cell.textContent = 'old' }")
            await cell.filter(has_text="ms").wait_for()
        await page.locator("#away").wait_for(state="visible")
