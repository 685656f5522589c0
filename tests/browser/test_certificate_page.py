"""The certificate in a real browser: it fits phones and desks, whatever the names, and prints with its answer first."""

from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from tests.browser.chromium import NEEDED, assert_fits, sheets
from tests.fakes.acceptance import GIVEN, later, one_test, record
from tests.fakes.month import SUBJECT
from wanwatch.core.acceptance import Photograph
from wanwatch.report.acceptance import certificate_of
from wanwatch.report.acceptance.page import render_html
from wanwatch.report.subject import Contract

pytestmark = NEEDED


@cache
def page(name: str = "") -> str:
    """A later test beside the first; site, provider, cable, resolver and photograph called *name* if given."""
    given = replace(GIVEN, circuit=name, cable=name, photographs=(Photograph(name, 3, "00" * 32),)) if name else GIVEN
    first = one_test(given, left=True, resolver=name or "192.0.2.53")
    found = certificate_of(record(first, later(given)), SUBJECT, "fibre")
    if name:
        found = replace(found, site=name, uplink=name, contract=Contract(provider=name, reference=name))
    return render_html(found)


@pytest.mark.parametrize("width", [390, 768, 1200])
@pytest.mark.parametrize("name", ["", "W" * 200], ids=["usual", "long"])
def test_the_certificate_is_never_wider_than_its_window(width: int, name: str, tmp_path: Path) -> None:
    """Nobody has to push the page sideways to read it."""
    assert_fits(page(name), width, tmp_path)


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_answer_stands_on_the_first_sheet_and_the_signatures_on_one_sheet(paper: str, tmp_path: Path) -> None:
    """Who signs sees both signatures' lines together."""
    told = sheets(page(), paper, tmp_path)
    for words in ("fibre did not pass", "2 items worse than in the first test", "EX-0001-DROP"):
        assert words in told[0]
    assert [sheet.count("Signature") for sheet in told if "Signature" in sheet] == [2]
