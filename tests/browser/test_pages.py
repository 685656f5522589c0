"""Every page of the daemon in a real browser: by eye, by keyboard, by rule; without a script; small, self-contained."""

from pathlib import Path

import pytest
from playwright.async_api import Browser, Page

from tests.browser.onlooking import IN_A_BROWSER, KINDS, SCHEMES, TOO_WIDE, WIDTHS, looking, serving_office, troubled
from tests.browser.rules import faults
from tests.fakes.web import ODD, troubled_office
from wanwatch.web.views import href

pytestmark = IN_A_BROWSER
WEIGHT_BYTES = 150_000
REACHABLE = "a[href], button, input, summary"
LEFTS = """words => {
  const text = document.querySelector("h1").firstChild, range = document.createRange();
  return words.map(word => {
    const at = text.data.indexOf(word);
    range.setStart(text, at), range.setEnd(text, at + word.length);
    return range.getBoundingClientRect().left;
  });
}"""
FOCUSED = """() => {
  const one = document.activeElement, drawn = getComputedStyle(one), at = one.getBoundingClientRect();
  return {
    number: [...document.querySelectorAll(REACHABLE)].indexOf(one),
    outlined: drawn.outlineStyle === "solid" && parseFloat(drawn.outlineWidth) >= 2,
    within: at.top >= 0 && at.left >= 0 && at.bottom <= innerHeight && at.right <= innerWidth,
  };
}""".replace("REACHABLE", repr(REACHABLE))


@pytest.mark.parametrize("scheme", SCHEMES)
async def test_pages_have_no_grave_fault_by_the_rules_of_accessibility(
    browser: Browser, tmp_path: Path, scheme: str
) -> None:
    """Names, headings, tables, contrast in both schemes: nothing serious and nothing critical, on any kind of page."""
    async with troubled(tmp_path) as at, looking(browser, color_scheme=scheme) as (page, asked):
        for kind, way in KINDS.items():
            await page.goto(at + way)
            assert (kind, await faults(page)) == (kind, [])
        assert asked.faults == []


async def test_the_rules_do_find_faults(browser: Browser, tmp_path: Path) -> None:
    """A page without its language and with pale print is told as such, so that silence means something."""
    async with troubled(tmp_path) as at, looking(browser) as (page, _):
        await page.goto(at)
        await page.evaluate("document.documentElement.removeAttribute('lang')")
        await page.evaluate("document.documentElement.style.setProperty('--quiet', '#c9ccd0')")
        assert {fault[1] for fault in await faults(page)} >= {"html-has-lang", "color-contrast"}


async def test_pages_are_no_wider_than_any_window_and_small(browser: Browser, tmp_path: Path) -> None:
    """Nobody has to scroll to the side; little comes over the line, and all of it from where the page came from."""
    async with troubled(tmp_path) as at:
        for kind, way in KINDS.items():
            async with looking(browser) as (page, asked):
                await page.goto(at + way)
                await page.evaluate("for (const one of document.querySelectorAll('details')) one.open = true")
                for width in WIDTHS:
                    await page.set_viewport_size({"width": width, "height": 900})
                    assert (kind, width, await page.evaluate(TOO_WIDE)) == (kind, width, [0])
                await page.evaluate("fetch('/')")  # what is still to come is counted, too
            assert asked.hosts == {"127.0.0.1"}
            assert 1000 < asked.size_bytes < WEIGHT_BYTES
            assert asked.faults == []


@pytest.mark.parametrize("kind", KINDS)
async def test_pages_can_be_used_by_keyboard_alone(browser: Browser, tmp_path: Path, kind: str) -> None:
    """The first stop leads to the content; every link and control is a stop, in order, and shows that it has focus."""
    async with troubled(tmp_path) as at, looking(browser, width=390) as (page, _):
        await page.goto(at + KINDS[kind])
        number = await page.locator(REACHABLE).count()
        assert number >= 3
        stops = await _stops(page, number)
        assert [stop["number"] for stop in stops] == [*range(number)]
        assert all(stop["outlined"] and stop["within"] for stop in stops)

        await page.goto(at + KINDS[kind])
        await page.keyboard.press("Tab")
        await page.keyboard.press("Enter")
        assert await page.evaluate("document.activeElement.id") == "main"


async def _stops(page: Page, number: int) -> list[dict[str, object]]:
    found = []
    for _ in range(number):
        await page.keyboard.press("Tab")
        found.append(await page.evaluate(FOCUSED))
    return found


async def test_a_line_can_be_looked_into_by_keyboard(browser: Browser, tmp_path: Path) -> None:
    """From the status page to a line, its day as a table, and back."""
    async with troubled(tmp_path) as at, looking(browser) as (page, _):
        await page.goto(at)
        await page.locator("#to-line-1").focus()
        await page.keyboard.press("Enter")
        await page.get_by_role("heading", level=1, name="fibre").wait_for()
        await page.locator("summary").focus()
        await page.keyboard.press("Enter")
        assert await page.get_by_role("cell", name="unobserved").is_visible()


async def test_pages_are_whole_without_a_script(browser: Browser, tmp_path: Path) -> None:
    """All that the status page shows stands in it as it comes, and it comes again by itself."""
    async with troubled(tmp_path) as at, looking(browser, java_script_enabled=False) as (page, _):
        await page.goto(at)
        shown = await page.inner_text("body")
        for words in (
            "copper carries the traffic", "Carries no traffic", "For 10 min 00 s, since 2026-11-03 09:50:00",
            "down 30 min 00 s", "31.0 ms", "100.0 %", "fibre is down on the access line", "still going on",
            "13 min 12 s left of the 43 min 12 s of downtime that its contract allows this month",
            "gave 912 Mbit/s down and 108 Mbit/s up", "412.0 of 2000 MB", "2 reports to read", "Overdue.",
        ):  # fmt: skip
            assert words in shown
        assert await page.locator(".ribbon .down").count() == 2
        assert 'http-equiv="refresh"' in await page.content()
        await page.get_by_role("link", name="2 reports to read").click()
        await page.get_by_role("link", name="2026-10 page").click()
        assert "An invented report." in await page.inner_text("body")


@pytest.mark.parametrize("name", ODD.values(), ids=ODD)
async def test_odd_names_run_nothing_and_break_nothing(browser: Browser, tmp_path: Path, name: str) -> None:
    """Whatever site and lines are called: no script runs, each name stands there whole, no page becomes too wide."""
    async with troubled(tmp_path, name, name, f"{name} 2") as at, looking(browser, width=WIDTHS[0]) as (page, asked):
        asked_for: list[str] = []
        page.on("dialog", lambda dialog: asked_for.append(dialog.message))
        for way in ("/", "/reports", href("uplink", name), href("incident", f"incident-outage-{name}")):
            await page.goto(at + way)
            assert (way, await page.evaluate(TOO_WIDE)) == (way, [0])
            assert name in await page.inner_text("header")
        await page.goto(at)
        await page.get_by_role("link", name=name, exact=True).click()
        assert await page.inner_text("h1") == name
        assert (asked_for, asked.faults) == ([], [])


async def test_names_from_right_to_left_leave_the_words_around_them_in_order(browser: Browser, tmp_path: Path) -> None:
    """Three such lines that share the traffic stand in the order of a left-to-right sentence (UAX 9, isolates)."""
    lines = ("אחת", "שתיים", "שלוש")
    said = troubled_office(tmp_path, "harbour-lane", *lines[:2])
    said.health()["carrying"] = {"uplink": None, "known": True, "shares": [*lines]}
    async with serving_office(said) as at, looking(browser) as (page, _):
        await page.goto(at)
        lefts = await page.evaluate(LEFTS, [*lines, "share"])
        assert lefts == sorted(lefts)
        assert len(set(lefts)) == len(lefts)
