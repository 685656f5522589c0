"""Acceptance: the certificate of an acceptance test, as it is kept in the record.

In:       a Record, what the month's report knows of the configuration, an uplink's name.
Out:      one frozen Certificate, and from it self-contained HTML, PDF, JSON, or text for a terminal.
Imports:  wanwatch.core, wanwatch.report, jinja2. Only in the process of a command, like the report.
"""

from wanwatch.report.acceptance.command import BRIEF, FORMS, certificate_command
from wanwatch.report.acceptance.errors import NoTestError
from wanwatch.report.acceptance.values import Certificate, certificate_of

__all__ = ["BRIEF", "FORMS", "Certificate", "NoTestError", "certificate_command", "certificate_of"]
