"""The command behind `wanwatch report`."""

import logging
import re
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Final

from wanwatch.config import Config
from wanwatch.core.account.calendar import local_time, month_span
from wanwatch.core.ports import Record
from wanwatch.report.errors import MonthError, OutputError
from wanwatch.report.pdf import PAPERS, to_pdf
from wanwatch.report.subject import Subject, subject_of

if TYPE_CHECKING:
    from wanwatch.report.values import MonthReport

FORMS: Final = ("html", "pdf", "json")
_MONTH: Final = re.compile(r"(\d{4})-(\d{2})")
_LAST_MONTH: Final = 12
_FIRST_YEAR: Final = 1970


def report_command(
    config: Config, record: Record, *, month: str | None, form: str, out: Path | None, now_unix_ns: int, note: str = "",
    paper: str = PAPERS[0],
) -> int:  # fmt: skip
    """Make one month's report and write it.

    Args:
        config: The configuration.
        record: The record, open for reading.
        month: `2026-10`; None for the running month.
        form: One of `FORMS`.
        out: The file to write; None for standard output.
        now_unix_ns: The wall clock.
        note: A remark to show on top of the page.
        paper: One of `PAPERS`, for a PDF.

    Returns:
        The exit code, 0.

    Raises:
        MonthError: There is no such month, or it has not begun.
        OutputError: The file cannot be written.
        PdfError: No PDF can be made on this machine.
    """
    subject = subject_of(config, note)
    year, number = chosen_month(subject, month, now_unix_ns)
    write_report(record, subject, year=year, month=number, now_unix_ns=now_unix_ns, form=form, out=out, paper=paper)
    return 0


def chosen_month(subject: Subject, text: str | None, now_unix_ns: int) -> tuple[int, int]:
    """Return the year and the month that *text* names in the site's zone, or the running ones.

    Raises:
        MonthError: There is no such month, or it has not begun.
    """
    if text is None:
        today = local_time(now_unix_ns, subject.zone)
        return today.year, today.month
    match = _MONTH.fullmatch(text)
    if match is None:
        raise MonthError(text, "not a year and a month")
    year, month = int(match[1]), int(match[2])
    if not 1 <= month <= _LAST_MONTH or year < _FIRST_YEAR:
        raise MonthError(text, "the calendar has no such month")
    if month_span(year, month, subject.zone).start_unix_ns > now_unix_ns:
        raise MonthError(text, "it has not begun")
    return year, month


def write_report(
    record: Record, subject: Subject, *, year: int, month: int, now_unix_ns: int, form: str, out: Path | None,
    paper: str = PAPERS[0],
) -> None:  # fmt: skip
    """Account for a month, render it as one of `FORMS`, and write it to *out* or to standard output.

    Raises:
        OutputError: The file cannot be written.
        PdfError: No PDF can be made on this machine.
    """
    from wanwatch.report.month import build_month  # noqa: PLC0415 - numpy is loaded when it is needed, see the card

    _progress(f"reading {year}-{month:02d}")
    report = build_month(record, subject, year, month, now_unix_ns)
    _progress(f"writing {form}")
    write_out(_renderer(form)(report), form, out, paper)
    _progress("")


def write_out(text: str, form: str, out: Path | None, paper: str = PAPERS[0]) -> None:
    """Write what was rendered to *out*, or to standard output; a page whose form is `pdf` on that *paper*.

    Raises:
        OutputError: The file cannot be written.
        PdfError: No PDF can be made on this machine.
    """
    data = to_pdf(text, paper) if form == "pdf" else text.encode()
    if out is None:
        sys.stdout.buffer.write(data)
        return
    try:
        out.write_bytes(data)
    except OSError as error:
        raise OutputError(out, error) from error


def _renderer(form: str) -> "Callable[[MonthReport], str]":
    if form == "json":
        from wanwatch.report.as_json import render_json  # noqa: PLC0415 - likewise

        return render_json
    # A daemon's user has no home: matplotlib then makes do with a temporary folder, which nobody needs to be told.
    logging.getLogger("matplotlib").setLevel(logging.ERROR)
    from wanwatch.report.html import render_html  # noqa: PLC0415 - matplotlib likewise

    return render_html


def _progress(text: str) -> None:
    """Say on a terminal what is being done; the next word overwrites it."""
    if sys.stderr.isatty():
        sys.stderr.write(f"\r\x1b[K{text}")
        sys.stderr.flush()
