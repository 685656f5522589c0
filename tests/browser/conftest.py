"""One browser for all tests that open pages in it."""

from collections.abc import AsyncIterator

import pytest_asyncio
from playwright.async_api import Browser, async_playwright

from tests.browser.chromium import CHROMIUM, FLAGS


@pytest_asyncio.fixture(scope="session", loop_scope="session")
async def browser() -> AsyncIterator[Browser]:
    """This machine's own Chromium, driven by playwright; nothing is downloaded."""
    assert CHROMIUM is not None
    async with async_playwright() as driver:
        opened = await driver.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield opened
        await opened.close()
