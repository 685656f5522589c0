"""Dossier: the evidence for one outage, ready to be attached to a fault ticket.

In:       a Record, what the month's report knows of the configuration, an event's id.
Out:      one frozen Dossier, and from it self-contained HTML, PDF, JSON, or the single samples as CSV.
Imports:  wanwatch.core, wanwatch.report, numpy, jinja2, matplotlib. Only in the process of a command, like the report.
"""

from wanwatch.report.dossier.command import FORMS, dossier_command
from wanwatch.report.dossier.errors import EventIdError

__all__ = ["FORMS", "EventIdError", "dossier_command"]
