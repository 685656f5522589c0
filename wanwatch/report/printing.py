"""The process that turns a page into a PDF: the page on standard input, the PDF on standard output, and it is gone.

Neither WeasyPrint's memory nor the system's libraries that it loads stay with the command. The page is all that there
is: nothing is fetched, from nowhere. The same page gives the same bytes where SOURCE_DATE_EPOCH is the same
(https://reproducible-builds.org/specs/source-date-epoch/), since fonts are cut to what is used, and dated.
"""

import sys
from typing import Final

from wanwatch.report.pdf import NO_LIBRARY

_SHEETS: Final = (
    "@page {{ size: {paper}; @bottom-right {{ content: counter(page) ' of ' counter(pages);"
    " font: 8pt sans-serif; color: #56636f }} }}"
)


def main(paper: str) -> int:
    """Print one page on *paper*; exit code `NO_LIBRARY` where something is not installed."""
    try:
        from weasyprint import CSS, HTML  # noqa: PLC0415 - what it lacks is told
        from weasyprint.urls import URLFetcher  # noqa: PLC0415 - likewise
    except (ImportError, OSError) as error:  # OSError: it is installed, and one of the system's libraries is not
        sys.stderr.write(f"{str(error).splitlines()[0]}\n")
        return NO_LIBRARY
    page = HTML(string=sys.stdin.buffer.read().decode(), url_fetcher=URLFetcher(allowed_protocols=()))
    sys.stdout.buffer.write(page.write_pdf(stylesheets=[CSS(string=_SHEETS.format(paper=paper))]))
    return 0


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
