"""A headless browser, and what it can say of a page: how wide it is, and what stands on each sheet."""

import html
import re
import shutil
import subprocess
from pathlib import Path
from typing import Final

import pytest

CHROMIUM: Final = shutil.which("chromium")
NEEDED: Final = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="there is no chromium on this machine"),
]
"""Marks of tests that need it."""
FLAGS: Final = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip
FRAMED: Final = """<!DOCTYPE html><meta charset="utf-8"><body><iframe style="width:{width}px;height:900px;border:0"
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


def assert_fits(page: str, width: int, folder: Path) -> None:
    """Assert that a page in a window of this width is no wider than it."""
    frame = folder / "frame.html"
    frame.write_text(FRAMED.format(width=width, page=html.escape(page)), "utf-8")
    printed = chromium(folder, "--virtual-time-budget=5000", "--dump-dom", frame.as_uri())
    measured = re.search(r"<title>(\d+) of (\d+)</title>", printed)
    assert measured is not None
    assert int(measured[1]) <= int(measured[2]) <= width


def sheets(page: str, paper: str, folder: Path) -> list[str]:
    """Print a page on this paper and return the text of each sheet; skips where nothing can read it."""
    pdftotext = shutil.which("pdftotext")
    if pdftotext is None:
        pytest.skip("there is no pdftotext on this machine")
    file, sheet = folder / "page.html", folder / "page.pdf"
    file.write_text(page.replace("</style>", f"@page {{ size: {paper} }}</style>"), "utf-8")
    chromium(folder, "--no-pdf-header-footer", f"--print-to-pdf={sheet}", file.as_uri())
    return subprocess.run([pdftotext, str(sheet), "-"], capture_output=True, text=True, check=True).stdout.split("\f")
