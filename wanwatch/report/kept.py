"""Kept reports: written into the record's folder when a month is over, each file whole or not at all."""

import re
from collections.abc import Collection
from pathlib import Path
from typing import Final, NamedTuple

from wanwatch.core.account.period import Period
from wanwatch.core.notices import Attachment
from wanwatch.report.errors import OutputError

FOLDER: Final = "reports"
SUFFIXES: Final = {"html": ".html", "pdf": ".pdf", "csv": ".csv.zip", "json": ".json"}


MEDIA_TYPES: Final = {
    "pdf": "application/pdf",
    "html": "text/html",
    "csv": "application/zip",
    "json": "application/json",
}
"""What each form is called in a mail; the first that is written is the one that is sent."""
_MONTH: Final = re.compile(r"\d{4}-\d\d")
_FILE: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,200}")


class ToSend(NamedTuple):
    """A kept report that can be sent: of which month, as what, and when it was written (Unix nanoseconds)."""

    month: str
    attachment: Attachment
    written_unix_ns: int


class Kept(NamedTuple):
    """A kept report: of which period, in which file, and how large."""

    name: str
    path: Path
    size_bytes: int


def folder_of(data_dir: Path) -> Path:
    """Return where the reports of a record are kept."""
    return data_dir / FOLDER


def path_of(folder: Path, period: Period, form: str) -> Path:
    """Return the file of a period in one form."""
    return folder / f"{period.name}{SUFFIXES[form]}"


def prepared(folder: Path) -> Path:
    """Make the folder if it is not there.

    Raises:
        OutputError: It cannot be made.
    """
    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        raise OutputError(folder, error) from error
    return folder


def listed(folder: Path) -> list[Kept]:
    """Return the kept reports, by period and form; none where there is no folder, or none that may be read.

    Only files of our own making: no links, and no name that we would not give.
    """
    try:
        files = sorted(path for path in folder.iterdir() if path.is_file() and not path.is_symlink())
    except OSError:
        return []
    found = []
    for path in files:
        suffix = next((suffix for suffix in SUFFIXES.values() if path.name.endswith(suffix)), None)
        if suffix and _FILE.fullmatch(path.name) and not path.name.endswith(".figures.json"):
            found.append(Kept(path.name.removesuffix(suffix), path, path.stat().st_size))
    return found


def to_send(folder: Path, forms: Collection[str]) -> list[ToSend]:
    """Return the months' reports that are there in the form that is sent: PDF if that is written, else HTML, else any.

    Args:
        folder: Where reports are kept.
        forms: The forms that are written of each month.
    """
    form = next((form for form in MEDIA_TYPES if form in forms), None)
    if form is None:
        return []
    return [
        ToSend(name, Attachment(str(path), path.name, MEDIA_TYPES[form]), path.stat().st_mtime_ns)
        for name, path, _ in listed(folder)
        if _MONTH.fullmatch(name) and path.name == f"{name}{SUFFIXES[form]}"
    ]


def write_whole(path: Path, data: bytes) -> None:
    """Write a file so that whoever reads it finds all of it or the former one."""
    beside = path.with_name(f".{path.name}.new")
    beside.write_bytes(data)
    beside.replace(path)
