"""Report: what a month came to, line by line, as one page or as data.

In:       a Record, and from the configuration the lines with their contracts.
Out:      one frozen MonthReport, and from it self-contained HTML, PDF or JSON.
Imports:  wanwatch.core, wanwatch.config, numpy, jinja2, matplotlib, babel. Runs in the process of a command, never in
          the daemon: numpy and matplotlib are loaded once a report is made, babel only where the site has a locale,
          weasyprint in a process of its own.
"""

from wanwatch.report.command import report_command
from wanwatch.report.errors import OutputError, PdfError, PeriodError, ReportError
from wanwatch.report.subject import Contract, Subject, TargetPlan, UplinkPlan, subject_of

__all__ = [
    "Contract",
    "OutputError",
    "PdfError",
    "PeriodError",
    "ReportError",
    "Subject",
    "TargetPlan",
    "UplinkPlan",
    "report_command",
    "subject_of",
]
