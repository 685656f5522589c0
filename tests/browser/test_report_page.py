"""The month's page in a real browser: it fits phones and desks, whatever the names, and prints on A4 and Letter."""

from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest
from playwright.async_api import Browser

from tests.browser.chromium import NEEDED, assert_fits, sheets
from tests.fakes.month import PROMISES, SUBJECT, at, reported
from wanwatch.core.account.credits import Step, Terms
from wanwatch.core.account.speed_tests import SpeedTest, speeds
from wanwatch.core.model import Json
from wanwatch.core.resolving import Sign
from wanwatch.report.html import render_html
from wanwatch.report.subject import Contract
from wanwatch.report.values import ResolverFindings

pytestmark = NEEDED
SUBJECTS = {"usual": SUBJECT, "hi-IN": replace(SUBJECT, locale="hi-IN")}


def long_names() -> str:
    """The invented month with a site, a provider, a contract and resolvers whose names are 200 letters long."""
    name = "W" * 200
    resolver = ResolverFindings(
        resolver=name,
        inspections=4464,
        rewriting=Sign.YES,
        rewrote=4464,
        sure=True,
        validates=None,
        differed=((name, 4464), ("www.example.com", 1)),
    )
    terms = Terms(fee=Decimal("120.00"), currency="GBP", steps=(Step(Fraction(1), Fraction(1, 10)),))
    contract = Contract(provider=name, reference=name, promises=PROMISES, terms=terms)
    subject = replace(SUBJECT, uplinks=(replace(SUBJECT.uplinks[0], contracts=(contract,)), SUBJECT.uplinks[1]))
    report = reported(subject)
    first, *others = report.uplinks
    tests = [
        SpeedTest(at_unix_ns=at(f"{day} 12:00:00"), uplink=name, direction="down", bps=4e8) for day in range(10, 30)
    ]
    uplinks = (replace(first, resolving=(resolver,), speed={"down": speeds(tests, "down")}), *others)
    return render_html(replace(report, site=name, note=name, uplinks=uplinks))


@pytest.mark.parametrize("width", [320, 390, 700, 1200])
@pytest.mark.parametrize("names", ["usual", "long", "hi-IN"])
def test_the_page_is_never_wider_than_its_window(width: int, names: str, tmp_path: Path) -> None:
    """Nobody has to push the page sideways to read it, whatever dates look like; wide charts scroll by themselves."""
    page = long_names() if names == "long" else render_html(reported(SUBJECTS[names]))
    assert_fits(page, width, tmp_path)


LINES_OF_NAMES = """() => [...document.querySelectorAll(".switches td bdi")].map(name => {
  const range = document.createRange();
  range.selectNodeContents(name);
  return [name.textContent, new Set([...range.getClientRects()].map(rect => rect.top)).size];
})"""


@pytest.mark.asyncio(loop_scope="session")
@pytest.mark.parametrize("width", [390, 768, 1200])
async def test_no_line_s_name_is_broken_within_a_word(width: int, browser: Browser) -> None:
    """However long the evidence of a switch is, and however wide its figures are."""
    report = reported()
    said: dict[str, Json] = {"s": 8.4, "low_s": 8.0, "high_s": 9.1}
    detail: dict[str, Json] = {"interruption": dict.fromkeys(("echo", "names", "connect", "held"), said)}
    switches = tuple(replace(one, detail=detail | {"cause": "line-down"}) for one in report.switches)
    page = await browser.new_page(viewport={"width": width, "height": 900})
    await page.set_content(render_html(replace(report, switches=switches)))
    found = await page.evaluate(LINES_OF_NAMES)
    await page.close()
    assert {"fibre", "copper"} <= {name for name, _ in found}
    assert {lines for name, lines in found if name in {"fibre", "copper"}} == {1}


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_owner_s_answer_fits_on_the_first_sheet(paper: str, tmp_path: Path) -> None:
    """Two lines, what happened and what to do stand on page one, then come incidents, then the evidence."""
    told = sheets(render_html(reported()), paper, tmp_path)
    first, second, third, *_ = (" ".join(sheet_text.split()) for sheet_text in told)
    assert "broke its contract" in first
    assert "traffic stayed on a dead line once although another was up." in first
    assert "the evidence" not in first
    assert second.startswith("Incidents")
    assert "fibre: the evidence" in third
