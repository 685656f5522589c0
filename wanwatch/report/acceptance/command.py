"""The certificate as a command writes it."""

from collections.abc import Callable
from pathlib import Path
from typing import Final

from wanwatch.core.acceptance import Verdict
from wanwatch.core.ports import Record
from wanwatch.report.acceptance.data import render_brief, render_json, render_text
from wanwatch.report.acceptance.values import Certificate, certificate_of
from wanwatch.report.command import write_out
from wanwatch.report.pdf import PAPERS
from wanwatch.report.subject import Subject

FORMS: Final = ("text", "html", "pdf", "json")
BRIEF: Final = "brief"
"""The form for a terminal that has shown every item already."""
_DATA: Final = {"text": render_text, "json": render_json, BRIEF: render_brief}


def certificate_command(
    record: Record, subject: Subject, uplink: str, *, form: str, out: Path | None, paper: str = PAPERS[0]
) -> Verdict:
    """Make the certificate of an uplink's latest acceptance test, and write it.

    Args:
        record: The record, open for reading.
        subject: What is known of the configuration.
        uplink: The uplink's name.
        form: One of `FORMS`, or `BRIEF`.
        out: The file to write; None for standard output.
        paper: One of `PAPERS`, for a PDF.

    Returns:
        The verdict on the whole.

    Raises:
        NoTestError: No test of this uplink is kept.
        OutputError: The file cannot be written.
        PdfError: No PDF can be made on this machine.
    """
    certificate = certificate_of(record, subject, uplink)
    write_out(_renderer(form)(certificate), form, out, paper)
    return certificate.verdict


def _renderer(form: str) -> Callable[[Certificate], str]:
    if form in _DATA:
        return _DATA[form]
    from wanwatch.report.acceptance.page import render_html  # noqa: PLC0415 - matplotlib is loaded when it is needed

    return render_html
