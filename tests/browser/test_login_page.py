"""The page to sign in on, in a real browser: by keyboard, with and without a script, with its refusals told aloud."""

from collections.abc import AsyncIterator
from pathlib import Path

import pytest_asyncio
from playwright.async_api import Browser, Page

from tests.browser.onlooking import IN_A_BROWSER, SCHEMES, TOO_WIDE, WIDTHS, looking, serving_office
from tests.browser.rules import faults
from tests.fakes.web import troubled_office
from wanwatch.core.door import Cost, Keys, hashed

pytestmark = IN_A_BROWSER
SAID = "four words of mine"
KEYS = Keys(hashed(SAID, bytes(16), Cost(4, 1, 1)))


@pytest_asyncio.fixture(loop_scope="session")
async def at(tmp_path: Path) -> AsyncIterator[str]:
    """An office whose pages ask for a password."""
    async with serving_office(troubled_office(tmp_path), KEYS) as address:
        yield address


async def said_aloud(page: Page) -> str:
    """What a screen reader says of the field that has focus: its name, and what describes it."""
    field = page.get_by_label("Password of this office")
    described_by = await field.get_attribute("aria-describedby")
    return "" if described_by is None else await page.inner_text(f"#{described_by}")


async def test_people_sign_in_and_out_by_keyboard(browser: Browser, at: str) -> None:
    """The field has focus at once; who is let in comes to where they wanted; after signing out they start anew."""
    async with looking(browser) as (page, asked):
        await page.goto(f"{at}/reports")
        assert await page.evaluate("document.activeElement.id") == "password"
        await page.keyboard.type(SAID)
        await page.keyboard.press("Enter")
        await page.get_by_role("heading", level=1, name="Reports").wait_for()
        await page.get_by_role("link", name="Now").press("Enter")
        await page.get_by_role("heading", level=1, name="copper carries the traffic").wait_for()
        await page.get_by_role("button", name="Sign out").press("Enter")
        await page.get_by_role("heading", level=1, name="Sign in").wait_for()
        await page.goto(at)
        await page.get_by_role("heading", level=1, name="Sign in").wait_for()
        assert asked.hosts == {"127.0.0.1"}


async def test_a_wrong_password_is_told_where_people_are(browser: Browser, at: str) -> None:
    """In the title, as an alert, and with the field, which is empty and has focus; it works without a script, too."""
    async with looking(browser, java_script_enabled=False) as (page, _):
        await page.goto(at)
        assert await said_aloud(page) == ""
        await page.get_by_label("Password of this office").fill("a guess")
        await page.get_by_role("button", name="Sign in").click()
        assert await said_aloud(page) == await page.get_by_role("alert").inner_text() == "That is not the password."
        assert (await page.title()).startswith("That is not the password.")
        field = page.get_by_label("Password of this office")
        assert (await field.input_value(), await field.get_attribute("aria-invalid")) == ("", "true")
        await field.fill(SAID)
        await field.press("Enter")
        await page.get_by_role("heading", level=1, name="copper carries the traffic").wait_for()


async def test_the_entry_is_accessible_and_fits(browser: Browser, at: str) -> None:
    """Before and after a refusal, in both schemes, at all widths; so is a page from which one can sign out."""
    for scheme in SCHEMES:
        async with looking(browser, color_scheme=scheme) as (page, _):
            await page.goto(at)
            for said, then in (
                ("a guess", page.get_by_role("alert")),
                (SAID, page.get_by_role("button", name="Sign out")),
            ):
                assert await faults(page) == []
                for width in WIDTHS:
                    await page.set_viewport_size({"width": width, "height": 900})
                    assert (width, await page.evaluate(TOO_WIDE)) == (width, [0])
                await page.get_by_label("Password of this office").fill(said)
                await page.keyboard.press("Enter")
                await then.wait_for()
            assert await faults(page) == []
