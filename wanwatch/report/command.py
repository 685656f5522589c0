"""The command behind `wanwatch report`."""

import logging
import re
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

from wanwatch.config import Config
from wanwatch.core.account.calendar import Per, local_time
from wanwatch.core.account.period import MOST_DAYS, Period, last_days, month_before, month_of, named
from wanwatch.core.account.tally import Tally
from wanwatch.core.ports import Record
from wanwatch.report.errors import OutputError, PeriodError
from wanwatch.report.kept import folder_of, path_of, prepared, write_whole
from wanwatch.report.pdf import PAPERS, to_pdf
from wanwatch.report.subject import Subject, subject_of
from wanwatch.report.through import SummedOnce

if TYPE_CHECKING:
    from wanwatch.report.values import MonthReport

FORMS: Final = ("html", "pdf", "csv", "json")
_DAYS: Final = "days"
_SHAPES: Final = {
    Per.MONTH: re.compile(r"\d{4}-\d{2}"),
    Per.QUARTER: re.compile(r"\d{4}-Q\d"),
    Per.YEAR: re.compile(r"\d{4}"),
}
_SHAPELESS: Final = {
    Per.MONTH: "not a year and a month",
    Per.QUARTER: "not a year and a quarter",
    Per.YEAR: "not a year",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """Which period was asked for; at most one of the four, none for the running month.

    Attributes:
        month: `2026-10`.
        quarter: `2026-Q4`.
        year: `2026`.
        days: So many whole days back.
    """

    month: str | None = None
    quarter: str | None = None
    year: str | None = None
    days: int | None = None


def report_command(
    config: Config, record: Record, *, asked: Asked, form: str, out: Path | None, now_unix_ns: int, note: str = "",
    paper: str = PAPERS[0],
) -> int:  # fmt: skip
    """Make one period's report and write it.

    Args:
        config: The configuration.
        record: The record, open for reading.
        asked: Which period.
        form: One of `FORMS`.
        out: The file to write; None for standard output.
        now_unix_ns: The wall clock.
        note: A remark to show on top of the page.
        paper: One of `PAPERS`, for a PDF.

    Returns:
        The exit code, 0.

    Raises:
        PeriodError: There is no such period, or it has not begun.
        OutputError: The file cannot be written.
        PdfError: No PDF can be made on this machine.
    """
    subject = subject_of(config, note)
    period = chosen(subject, asked, now_unix_ns)
    folder = folder_of(config.site.data_dir)
    write_report(record, subject, period, now_unix_ns=now_unix_ns, form=form, out=out, paper=paper, folder=folder)
    return 0


def keep_command(config: Config, record: Record, *, now_unix_ns: int) -> Iterator[Path]:
    """Write what is missing of the last whole month, in the forms that the configuration asks for.

    Yields:
        The files, as they are written; none of a month that nobody watched.

    Raises:
        OutputError: A file cannot be written.
        PdfError: No PDF can be made on this machine.
    """
    subject = subject_of(config)
    today = local_time(now_unix_ns, subject.zone)
    month = month_before(month_of(today.year, today.month, subject.zone), subject.zone)
    folder = prepared(folder_of(config.site.data_dir))
    missing = [form for form in config.report.monthly if not path_of(folder, month, form).exists()]
    if not missing or not record.watched(subject.site, month.span):
        return
    report = make(record, subject, month, now_unix_ns=now_unix_ns, folder=folder)
    for form in missing:
        data, path = rendered(report, form), path_of(folder, month, form)
        try:
            write_whole(path, data)
        except OSError as error:
            raise OutputError(path, error) from error
        yield path


def tally_command(config: Config, record: Record, *, now_unix_ns: int) -> Tally:
    """Account for the running month, and return what became of its promises: the report's own figures."""
    from wanwatch.report.month import build_period  # noqa: PLC0415 - numpy is loaded when it is needed, see the card
    from wanwatch.report.tally import tally_of  # noqa: PLC0415 - likewise

    subject = subject_of(config)
    month = chosen(subject, Asked(), now_unix_ns)
    return tally_of(build_period(record, subject, month, now_unix_ns, detailed=False), subject)


def chosen(subject: Subject, asked: Asked, now_unix_ns: int) -> Period:
    """Return the period that is meant in the site's zone.

    Raises:
        PeriodError: There is no such period, or it has not begun.
    """
    if asked.days is not None:
        if not 1 <= asked.days <= MOST_DAYS:
            raise PeriodError(_DAYS, str(asked.days), "too few or too many")
        return last_days(asked.days, now_unix_ns, subject.zone)
    by_name = {Per.MONTH: asked.month, Per.QUARTER: asked.quarter, Per.YEAR: asked.year}
    for per, text in by_name.items():
        if text is not None:
            return _of_calendar(subject, per, text, now_unix_ns)
    today = local_time(now_unix_ns, subject.zone)
    return month_of(today.year, today.month, subject.zone)


def _of_calendar(subject: Subject, per: Per, text: str, now_unix_ns: int) -> Period:
    if _SHAPES[per].fullmatch(text) is None:
        raise PeriodError(per.value, text, _SHAPELESS[per])
    found = named(text, subject.zone)
    if found is None:
        raise PeriodError(per.value, text, f"the calendar has no such {per.value}")
    if found.span.start_unix_ns > now_unix_ns:
        raise PeriodError(per.value, text, "it has not begun")
    return found


def write_report(
    record: Record, subject: Subject, period: Period, *, now_unix_ns: int, form: str, out: Path | None,
    paper: str = PAPERS[0], folder: Path | None = None,
) -> None:  # fmt: skip
    """Account for a period, render it as one of `FORMS`, and write it to *out* or to standard output.

    Args:
        record: The record, open for reading.
        subject: The site.
        period: Which period.
        now_unix_ns: The wall clock.
        form: One of `FORMS`.
        out: The file to write; None for standard output.
        paper: One of `PAPERS`, for a PDF.
        folder: Where figures of the months before are kept.

    Raises:
        OutputError: The file cannot be written.
        PdfError: No PDF can be made on this machine.
    """
    report = make(record, subject, period, now_unix_ns=now_unix_ns, folder=folder)
    _progress(f"writing {form}")
    _put(rendered(report, form, paper), out)
    _progress("")


def make(
    record: Record, subject: Subject, period: Period, *, now_unix_ns: int, folder: Path | None = None
) -> "MonthReport":
    """Account for a period, with the months before beside it."""
    from wanwatch.report.beside import beside  # noqa: PLC0415 - likewise
    from wanwatch.report.history import history  # noqa: PLC0415 - numpy is loaded when it is needed, see the card
    from wanwatch.report.month import build_period  # noqa: PLC0415 - likewise
    from wanwatch.report.parts import parts  # noqa: PLC0415 - likewise

    _progress(f"reading {period.name}")
    record = SummedOnce(record)
    report = build_period(record, subject, period, now_unix_ns)
    _progress("reading the months before")
    rows = history(record, subject, report, folder, now_unix_ns)
    months = parts(record, subject, report, rows, folder, now_unix_ns)
    uplinks = tuple(replace(uplink, parts=months[uplink.name]) for uplink in report.uplinks)
    return replace(report, months=rows, beside=beside(record, report), uplinks=uplinks)


def rendered(report: "MonthReport", form: str, paper: str = PAPERS[0]) -> bytes:
    """Render a report as one of `FORMS`.

    Raises:
        PdfError: No PDF can be made on this machine.
    """
    if form == "csv":
        from wanwatch.report.as_csv import render_csv  # noqa: PLC0415 - likewise

        return render_csv(report)
    text = _renderer(form)(report)
    return to_pdf(text, paper) if form == "pdf" else text.encode()


def write_out(text: str, form: str, out: Path | None, paper: str = PAPERS[0]) -> None:
    """Write what was rendered to *out*, or to standard output; a page whose form is `pdf` on that *paper*.

    Raises:
        OutputError: The file cannot be written.
        PdfError: No PDF can be made on this machine.
    """
    _put(to_pdf(text, paper) if form == "pdf" else text.encode(), out)


def _put(data: bytes, out: Path | None) -> None:
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
