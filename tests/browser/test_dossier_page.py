"""The dossier in a real browser: it fits phones and desks, whatever the names, and its first sheet has the answer."""

import html
import re
import shutil
import subprocess
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from tests.browser.test_report_page import CHROMIUM, FRAMED, chromium
from tests.fakes.month import PERIOD, SUBJECT, record
from wanwatch.report.dossier.build import build
from wanwatch.report.dossier.page import render_html
from wanwatch.report.subject import Contract

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="there is no chromium on this machine"),
]


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
    frame = tmp_path / "frame.html"
    frame.write_text(FRAMED.format(width=width, page=html.escape(page(name))), "utf-8")
    printed = chromium(tmp_path, "--virtual-time-budget=5000", "--dump-dom", frame.as_uri())
    measured = re.search(r"<title>(\d+) of (\d+)</title>", printed)
    assert measured is not None
    assert int(measured[1]) <= int(measured[2]) <= width


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_answer_and_the_place_stand_on_the_first_sheet_and_the_charts_on_the_next(
    paper: str, tmp_path: Path
) -> None:
    """Who gets a ticket reads one sheet: how long, where, and what was in order on the office's side."""
    pdftotext = shutil.which("pdftotext")
    if pdftotext is None:
        pytest.skip("there is no pdftotext on this machine")
    file, sheet = tmp_path / "dossier.html", tmp_path / "dossier.pdf"
    file.write_text(page().replace("</style>", f"@page {{ size: {paper} }}</style>"), "utf-8")
    chromium(tmp_path, "--no-pdf-header-footer", f"--print-to-pdf={sheet}", file.as_uri())
    sheets = subprocess.run([pdftotext, str(sheet), "-"], capture_output=True, text=True, check=True).stdout.split("\f")
    for words in ("fibre was down for", "Where it broke", "Another line", "EX-0001"):
        assert words in sheets[0]
    assert "All lines side by side" in sheets[1]
