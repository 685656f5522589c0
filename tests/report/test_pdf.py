"""Pages as PDF: the same words on numbered sheets of the paper asked for, and one clear error where it cannot be."""

import re
import shutil
import subprocess
import sys
from functools import cache
from pathlib import Path

import pytest

from tests.fakes.month import PERIOD, SUBJECT, record
from wanwatch.report import PdfError, pdf
from wanwatch.report.command import write_out
from wanwatch.report.dossier.build import build
from wanwatch.report.dossier.page import render_html
from wanwatch.report.pdf import PAPERS, to_pdf

PAGE = "<!DOCTYPE html><html lang='en'><title>A title</title><p>Fibre &amp; copper</p></html>"
EPOCH = "1793491200"


def printed(tool: str, data: bytes, *words: str) -> str:
    """What one of poppler's tools says of a PDF."""
    program = shutil.which(tool)
    if program is None:
        pytest.skip(f"there is no {tool} on this machine")
    with_file = [program, *words, "-"] if tool == "pdfinfo" else [program, *words, "-", "-"]
    return subprocess.run(with_file, input=data, capture_output=True, check=True).stdout.decode()


@cache
def dossier() -> str:
    """The page of the invented month's outage of the access line."""
    found = build(record(), SUBJECT, "outage-fibre-13 13:03:20", now_unix_ns=PERIOD.end_unix_ns, clock_error_us=4200)
    return render_html(found)


@pytest.mark.parametrize(("paper", "points"), [("A4", (595, 842)), ("Letter", (612, 792))])
def test_a_page_becomes_sheets_of_the_paper_asked_for(paper: str, points: tuple[int, int]) -> None:
    """210 x 297 mm (ISO 216) and 8.5 x 11 in, in points of 1/72 in."""
    told = printed("pdfinfo", to_pdf(PAGE, paper))
    size = re.search(r"Page size: +([\d.]+) x ([\d.]+)", told)
    assert size is not None
    assert tuple(round(float(side)) for side in size.groups()) == points
    assert re.search(r"Title: +A title", told)


@pytest.mark.parametrize("paper", PAPERS)
def test_a_dossier_has_its_answer_on_the_first_sheet_and_every_sheet_its_number(paper: str) -> None:
    """As a browser prints it: how long, where, what was in order, and where the route stopped; charts on the next."""
    sheets = printed("pdftotext", to_pdf(dossier(), paper)).split("\f")[:-1]
    for words in (
        "fibre was down for",
        "Where it broke",
        "Another line",
        "EX-0001",
        "the route stopped behind 10.20.0.1",
    ):
        assert words in " ".join(sheets[0].split())
    assert "All lines side by side" in sheets[1]
    assert [sheet.split()[-3:] for sheet in sheets] == [
        [str(number), "of", str(len(sheets))] for number in range(1, len(sheets) + 1)
    ]


def test_the_same_page_gives_the_same_bytes(monkeypatch: pytest.MonkeyPatch) -> None:
    """Evidence that can be made again (reproducible-builds.org, SOURCE_DATE_EPOCH)."""
    monkeypatch.setenv("SOURCE_DATE_EPOCH", EPOCH)
    assert to_pdf(dossier(), "A4") == to_pdf(dossier(), "A4")


def test_nothing_is_fetched_for_a_page(tmp_path: Path) -> None:
    """Not even from this machine: a name in a record must not make a file of the reader's part of the evidence."""
    (tmp_path / "secret.svg").write_text("<svg xmlns='http://www.w3.org/2000/svg'><text y='9'>leaked</text></svg>")
    page = PAGE.replace("<p>", f"<img src='{(tmp_path / 'secret.svg').as_uri()}' alt='gone'><p>")
    told = printed("pdftotext", to_pdf(page, "A4"))
    assert "Fibre & copper" in told
    assert "leaked" not in told


def test_where_the_extra_is_missing_one_error_says_what_to_install(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """The mend stands in it, and no file is left behind."""
    (tmp_path / "weasyprint.py").write_text("raise ModuleNotFoundError(\"No module named 'weasyprint'\")")
    monkeypatch.setenv("PYTHONPATH", f"{tmp_path}:{Path(pdf.__file__).parents[2]}")
    out = tmp_path / "page.pdf"
    with pytest.raises(PdfError) as raised:
        write_out(PAGE, "pdf", out)
    assert str(raised.value) == (
        "format 'pdf': cannot be made: No module named 'weasyprint'; install the extra: pip install 'wanwatch[pdf]',"
        " and Debian's libpango-1.0-0, libpangoft2-1.0-0 and libharfbuzz-subset0"
    )
    assert raised.value.missing
    assert not out.exists()


def test_what_else_goes_wrong_is_told_with_another_way_to_the_paper(monkeypatch: pytest.MonkeyPatch) -> None:
    """A browser prints the same page."""
    monkeypatch.setattr(sys, "executable", shutil.which("false"))
    with pytest.raises(PdfError, match="exit code 1; take --format html and print it from a browser"):
        to_pdf(PAGE, "A4")
