"""The dossier in a real browser: it fits phones and desks, whatever the names, and its first sheet has the answer."""

from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from tests.browser.chromium import NEEDED, assert_fits, sheets
from tests.fakes.month import PERIOD, SUBJECT, record
from wanwatch.report.dossier.build import build
from wanwatch.report.dossier.page import render_html
from wanwatch.report.subject import Contract

pytestmark = NEEDED


@cache
def page(name: str = "") -> str:
    """The invented month's outage of the access line; its site, provider and reference called *name* if given."""
    kept = "outage-fibre-13 13:03:20"
    found = build(record(), SUBJECT, kept, now_unix_ns=PERIOD.end_unix_ns, clock_error_us=4200)
    if name:
        plan = replace(found.plan, contracts=(Contract(provider=name, reference=name),))
        found = replace(found, site=name, plan=plan, lanes=tuple(replace(lane, name=name) for lane in found.lanes))
    return render_html(found)


@pytest.mark.parametrize("width", [390, 768, 1200])
@pytest.mark.parametrize("name", ["", "W" * 200], ids=["usual", "long"])
def test_the_dossier_is_never_wider_than_its_window(width: int, name: str, tmp_path: Path) -> None:
    """Nobody has to push the page sideways to read it; wide charts scroll by themselves."""
    assert_fits(page(name), width, tmp_path)


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_answer_and_the_place_stand_on_the_first_sheet_and_the_charts_on_the_next(
    paper: str, tmp_path: Path
) -> None:
    """Who gets a ticket reads one sheet: how long, where, and what was in order on the office's side."""
    told = sheets(page(), paper, tmp_path)
    for words in ("fibre was down for", "Where it broke", "Another line", "EX-0001"):
        assert words in told[0]
    assert "All lines side by side" in told[1]
