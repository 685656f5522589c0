"""What can keep a report from being made."""

from pathlib import Path
from typing import Final

from wanwatch.core.errors import WanwatchError


class ReportError(WanwatchError):
    """A report that cannot be made or written."""


class PeriodError(ReportError):
    """A period that is none, or that has not begun.

    Attributes:
        what: What was asked for: `month`, `quarter`, `year` or `days`.
        given: Which.
        reason: Why there is no report of it.
    """

    def __init__(self, what: str, given: str, reason: str) -> None:
        self.what = what
        self.given = given
        self.reason = reason
        super().__init__(f"{what} {given!r}: {reason}; write {_MENDS[what]}")


_MENDS: Final = {
    "month": "a past month or the running one as 2026-10",
    "quarter": "a past quarter or the running one as 2026-Q4",
    "year": "a past year or the running one as 2026",
    "days": "how many whole days back, 1 to 366",
}


class OutputError(ReportError):
    """A report that could not be written.

    Attributes:
        path: Where it should have gone.
    """

    def __init__(self, path: Path, error: OSError) -> None:
        self.path = path
        why = error.strerror or str(error)
        super().__init__(f"report {str(path)!r}: cannot write: {why}; name a file in a folder that you may write to")


class PdfError(ReportError):
    """A page that could not be made into a PDF.

    Attributes:
        missing: Whether a library for it is not installed.
    """

    def __init__(self, why: str, *, missing: bool) -> None:
        self.missing = missing
        mend = (
            "install the extra: pip install 'wanwatch[pdf]', and Debian's libpango-1.0-0, libpangoft2-1.0-0 and"
            " libharfbuzz-subset0"
            if missing
            else "take --format html and print it from a browser"
        )
        super().__init__(f"format 'pdf': cannot be made: {why}; {mend}")
