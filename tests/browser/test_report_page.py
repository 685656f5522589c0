"""The month's page in a real browser: it fits phones and desks, whatever the names, and prints on A4 and Letter."""

import html
import re
import shutil
import subprocess
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest

from tests.fakes.month import PROMISES, SUBJECT, at, reported
from wanwatch.core.account.credits import Step, Terms
from wanwatch.core.account.speed_tests import SpeedTest, speeds
from wanwatch.core.resolving import Sign
from wanwatch.report.html import render_html
from wanwatch.report.subject import Contract
from wanwatch.report.values import ResolverFindings

CHROMIUM = shutil.which("chromium")
pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="there is no chromium on this machine"),
]
FLAGS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip
FRAMED = """<!DOCTYPE html><meta charset="utf-8"><body><iframe style="width:{width}px;height:900px;border:0"
srcdoc="{page}"></iframe><script>
document.querySelector("iframe").addEventListener("load", e => {{
  const root = e.target.contentDocument.documentElement;
  document.title = root.scrollWidth + " of " + root.clientWidth;
}});
</script></body>"""


def chromium(folder: Path, *arguments: str) -> str:
    """Run the browser once with a profile of its own; return what it printed."""
    assert CHROMIUM is not None
    command = [CHROMIUM, *FLAGS, f"--user-data-dir={folder / 'profile'}", *arguments]
    return subprocess.run(command, capture_output=True, text=True, check=True, timeout=90).stdout


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


@pytest.mark.parametrize("width", [390, 768, 1200])
@pytest.mark.parametrize("names", ["usual", "long"])
def test_the_page_is_never_wider_than_its_window(width: int, names: str, tmp_path: Path) -> None:
    """Nobody has to push the page sideways to read it; wide charts scroll by themselves."""
    page = render_html(reported()) if names == "usual" else long_names()
    frame = tmp_path / "frame.html"
    frame.write_text(FRAMED.format(width=width, page=html.escape(page)), "utf-8")
    printed = chromium(tmp_path, "--virtual-time-budget=5000", "--dump-dom", frame.as_uri())
    measured = re.search(r"<title>(\d+) of (\d+)</title>", printed)
    assert measured is not None
    assert int(measured[1]) <= int(measured[2]) <= width


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_owner_s_answer_fits_on_the_first_sheet(paper: str, tmp_path: Path) -> None:
    """Two lines, what happened and what to do stand on page one, then come incidents, then the evidence."""
    pdftotext = shutil.which("pdftotext")
    if pdftotext is None:
        pytest.skip("there is no pdftotext on this machine")
    page = tmp_path / "month.html"
    page.write_text(render_html(reported()).replace("</style>", f"@page {{ size: {paper} }}</style>"), "utf-8")
    sheet = tmp_path / "month.pdf"
    chromium(tmp_path, "--no-pdf-header-footer", f"--print-to-pdf={sheet}", page.as_uri())
    text = subprocess.run([pdftotext, str(sheet), "-"], capture_output=True, text=True, check=True).stdout
    first, second, third, *_ = (" ".join(sheet_text.split()) for sheet_text in text.split("\f"))
    assert "broke its contract" in first
    assert "traffic stayed on a dead line once although another was up." in first
    assert "the evidence" not in first
    assert second.startswith("Incidents")
    assert "fibre: the evidence" in third
