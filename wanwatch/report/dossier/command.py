"""The command behind `wanwatch dossier`."""

import logging
from collections.abc import Callable
from pathlib import Path
from typing import Final

from wanwatch.config import Config
from wanwatch.core.ports import Record
from wanwatch.report.command import write_out
from wanwatch.report.pdf import PAPERS
from wanwatch.report.subject import subject_of

FORMS: Final = ("html", "pdf", "json", "csv")


def dossier_command(
    config: Config,
    record: Record,
    event_id: str,
    *,
    form: str,
    out: Path | None,
    now_unix_ns: int,
    clock_error_us: int | None,
    paper: str = PAPERS[0],
) -> int:
    """Make one outage's dossier and write it.

    Args:
        config: The configuration.
        record: The record, open for reading.
        event_id: The outage's id.
        form: One of `FORMS`.
        out: The file to write; None for standard output.
        now_unix_ns: The wall clock.
        clock_error_us: By how much that clock can be off UTC; None where nothing disciplines it.
        paper: One of `PAPERS`, for a PDF.

    Returns:
        The exit code, 0.

    Raises:
        EventIdError: No outage has this id.
        OutputError: The file cannot be written.
        PdfError: No PDF can be made on this machine.
    """
    from wanwatch.report.dossier.build import build  # noqa: PLC0415 - numpy is loaded when it is needed

    found = build(record, subject_of(config), event_id, now_unix_ns=now_unix_ns, clock_error_us=clock_error_us)
    write_out(_renderer(form)(found), form, out, paper)
    return 0


def _renderer(form: str) -> Callable[..., str]:
    from wanwatch.report.dossier import data  # noqa: PLC0415 - likewise

    if form == "json":
        return data.render_json
    if form == "csv":
        return data.render_csv
    # A daemon's user has no home: matplotlib then makes do with a temporary folder, which nobody needs to be told.
    logging.getLogger("matplotlib").setLevel(logging.ERROR)
    from wanwatch.report.dossier.page import render_html  # noqa: PLC0415 - matplotlib likewise

    return render_html
