"""Digest: one short text that changes whenever a month's figures can: of what was told, and of how it is reckoned.

Minutes are not in it: those of a month that is over are written once, and what is pruned of them must not make figures
stale that were reckoned while every sample was there.
"""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import fields, is_dataclass, replace
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Final

from wanwatch.core.account.calendar import Per, calendar_span
from wanwatch.core.account.period import Period
from wanwatch.core.event_json import event_to_json
from wanwatch.core.model import Json, Span
from wanwatch.core.ports import Record
from wanwatch.report.subject import Subject

FORM: Final = 4
"""Counted up with every change of how figures are reckoned or kept."""


def digest(record: Record, subject: Subject, month: Period) -> str:
    """Return the digest of a month; what its longest promises look back on, the year so far, is part of it."""
    year = calendar_span(Per.YEAR, month.year, month.month, subject.zone)
    so_far = Span(year.start_unix_ns, month.span.end_unix_ns)
    facts: Json = {
        "form": FORM,
        "subject": _plain(replace(subject, note="", locale=None)),
        "events": [event_to_json(event) for event in record.events(subject.site, so_far)],
        "watched": [[span.start_unix_ns, span.end_unix_ns] for span in record.watched(subject.site, so_far)],
        "measured": [[one.at_unix_ns, one.uplink, one.kind] for one in record.measurements(subject.site, so_far)],
    }
    return hashlib.sha256(json.dumps(facts, sort_keys=True).encode()).hexdigest()


def _plain(value: object) -> Json:
    """Return a configuration's value as JSON; sets in order, for theirs is not the same in every process."""
    if is_dataclass(value):
        return {field.name: _plain(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, Mapping):
        return {str(key): _plain(one) for key, one in value.items()}
    if isinstance(value, set | frozenset):
        return [*sorted(str(one) for one in value)]
    if isinstance(value, tuple | list):
        return [_plain(one) for one in value]
    if isinstance(value, Fraction | Decimal | date):
        return str(value)
    return value if isinstance(value, str | int | float | bool | None) else repr(value)
