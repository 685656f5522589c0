"""A page as PDF, for whoever wants a file that prints the same everywhere.

It is made by WeasyPrint (the extra `pdf`) in a process of its own: see `printing`.
"""

import subprocess
import sys
from typing import Final

from wanwatch.report.errors import PdfError

PAPERS: Final = ("A4", "Letter")
NO_LIBRARY: Final = 3
"""Exit code of that process where it lacks a library."""


def to_pdf(page: str, paper: str) -> bytes:
    """Return a whole HTML page as PDF on one of `PAPERS`, its sheets numbered.

    Raises:
        PdfError: WeasyPrint or a library under it is not installed, or it failed.
    """
    command = (sys.executable, "-P", "-m", "wanwatch.report.printing", paper)
    done = subprocess.run(command, input=page.encode(), capture_output=True, check=False)  # noqa: S603 - ourselves
    if done.returncode == 0:
        return done.stdout
    said = done.stderr.decode(errors="replace").strip().splitlines()
    why = said[-1] if said else f"exit code {done.returncode}"
    raise PdfError(why, missing=done.returncode == NO_LIBRARY)
