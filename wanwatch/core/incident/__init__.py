"""Incident: what belongs together of all that happened at a site, from the first sign of trouble to the last.

In:       events of one site, in any order, as far as they are known.
Out:      incidents: their members, a time line, the cause by a table of usual patterns, how long people were cut off.
Imports:  wanwatch.core. Nothing is stored: incidents are found anew from the events wherever they are read.
"""

from wanwatch.core.incident.as_json import FIELDS, incident_to_json
from wanwatch.core.incident.joining import Edge, Entry, Incident, find, incidents, incidents_in
from wanwatch.core.incident.pattern import Cause, Sign
from wanwatch.core.incident.telling import Words, folded, phrase, sentence, subject

__all__ = [
    "FIELDS",
    "Cause",
    "Edge",
    "Entry",
    "Incident",
    "Sign",
    "Words",
    "find",
    "folded",
    "incident_to_json",
    "incidents",
    "incidents_in",
    "phrase",
    "sentence",
    "subject",
]
