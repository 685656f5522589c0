"""The certificate in a real browser: it fits phones and desks, whatever the names, and prints with its answer first."""

import html
import re
import shutil
import subprocess
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from tests.browser.test_report_page import CHROMIUM, FRAMED, chromium
from tests.fakes.acceptance import GIVEN, later, one_test, record
from tests.fakes.month import SUBJECT
from wanwatch.core.acceptance import Photograph
from wanwatch.report.acceptance import certificate_of
from wanwatch.report.acceptance.page import render_html
from wanwatch.report.subject import Contract

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="there is no chromium on this machine"),
]


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
    frame = tmp_path / "frame.html"
    frame.write_text(FRAMED.format(width=width, page=html.escape(page(name))), "utf-8")
    printed = chromium(tmp_path, "--virtual-time-budget=5000", "--dump-dom", frame.as_uri())
    measured = re.search(r"<title>(\d+) of (\d+)</title>", printed)
    assert measured is not None
    assert int(measured[1]) <= int(measured[2]) <= width


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_answer_stands_on_the_first_sheet_and_the_signatures_on_one_sheet(paper: str, tmp_path: Path) -> None:
    """Who signs sees both signatures' lines together."""
    pdftotext = shutil.which("pdftotext")
    if pdftotext is None:
        pytest.skip("there is no pdftotext on this machine")
    file, sheet = tmp_path / "certificate.html", tmp_path / "certificate.pdf"
    file.write_text(page().replace("</style>", f"@page {{ size: {paper} }}</style>"), "utf-8")
    chromium(tmp_path, "--no-pdf-header-footer", f"--print-to-pdf={sheet}", file.as_uri())
    sheets = subprocess.run([pdftotext, str(sheet), "-"], capture_output=True, text=True, check=True).stdout.split("\f")
    for words in ("fibre did not pass", "2 items worse than in the first test", "EX-0001-DROP"):
        assert words in sheets[0]
    assert [sheet.count("Signature") for sheet in sheets if "Signature" in sheet] == [2]
