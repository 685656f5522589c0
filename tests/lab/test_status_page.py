"""What an onlooker on the mini PC sees of the office while a line is cut: in a real browser, on the lab's own lines."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from shlex import join

import pytest
from playwright.sync_api import Page, sync_playwright

from tests.browser.chromium import CHROMIUM, FLAGS, NEEDED
from tests.lab.office import COPPER, FIBRE, TARGETS, Truth
from tests.lab.stage import Lab, Story
from tests.lab.watch import QUICK
from wanwatch.core.model import NS_PER_S

pytestmark = [pytest.mark.lab, *NEEDED, pytest.mark.timeout(120)]

SHOWN_WITHIN_S = 2.0
"""From what is done to a cable to what an onlooker reads; half a second of it is `down_after`."""
PROMPT = 'down_after = "500ms"\n' + QUICK
OFTEN = tuple(f'echo = "{address}"\nevery = "200ms"\ntimeout = "400ms"' for address in TARGETS)
NOTED = """() => {
  window.still = document.body;
  window.shown = new Map();
  setInterval(() => {
    const now = Date.now() / 1000;
    for (const card of document.querySelectorAll("section.card"))
      for (const state of card.querySelectorAll(".state")) {
        const what = card.querySelector("a").textContent + " " + state.textContent.trim();
        if (!window.shown.has(what)) window.shown.set(what, now);
      }
    const headline = document.querySelector("h1").textContent;
    if (!window.shown.has(headline)) window.shown.set(headline, now);
  }, 20);
}"""
"""Notes when each line was first seen in each state, and each headline, by the clock that the lab's truth has, too."""


@contextmanager
def onlooker(lab: Lab) -> Iterator[Page]:
    """A browser on the mini PC."""
    assert CHROMIUM is not None
    program = lab.office.folder / "chromium"
    program.write_text(f'#!/bin/sh\nexec {join(lab.office.world.command("pc", CHROMIUM))} "$@"\n')
    program.chmod(0o755)
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=program, args=FLAGS)
        try:
            yield browser.new_page()
        finally:
            browser.close()


def a_line_is_cut_before_an_onlooker(lab: Lab) -> Mapping[str, Truth]:
    """The fibre is cut, traffic is moved, and the fibre is mended, while somebody looks at the status page."""
    with onlooker(lab) as page:
        page.goto("http://127.0.0.1:9470/")
        page.evaluate(NOTED)
        cut = lab.office.cut(FIBRE)
        card = page.locator("section.card", has=page.get_by_role("heading", name=FIBRE))
        card.locator(".state.down").wait_for()
        moved = lab.office.move(COPPER)
        page.get_by_role("heading", level=1, name=f"{COPPER} carries the traffic").wait_for()
        page.get_by_role("region", name="Going on").get_by_role("link").wait_for()
        lab.office.mend(FIBRE)
        card.locator(".state.up").wait_for()
        assert page.evaluate("window.still === document.body")
        shown = dict(page.evaluate("[...window.shown]"))
    read = {"cut read": shown[f"{FIBRE} down"], "move read": shown[f"{COPPER} carries the traffic"]}
    return {"cut": cut, "moved": moved} | {what: Truth(0, round(unix_s * NS_PER_S)) for what, unix_s in read.items()}


def test_a_cut_cable_shows_within_two_seconds_without_a_reload(tmp_path: Path) -> None:
    """State, headline and open incident follow by themselves, and the page stays the same one.

    It is played by itself: beside other stories the browser would wait for a processor for longer than for the daemon.
    """
    marks = Story(a_line_is_cut_before_an_onlooker, judge=PROMPT, asked=OFTEN).played(tmp_path).marks
    assert 0 < marks["cut read"].unix_s - marks["cut"].unix_s < SHOWN_WITHIN_S
    assert marks["move read"].unix_s - marks["moved"].unix_s < SHOWN_WITHIN_S
