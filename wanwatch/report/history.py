"""History: the months before, side by side, each from what was kept of it or else from the record.

What is kept of a month that is over is one small file with its digest: it is taken only while the digest is still the
same, so that work announced afterwards, a drill, or other contracts make the month be reckoned anew. Percentiles whose
samples are pruned meanwhile stay as they were reckoned from them. What is promised by the quarter or the year stands in
the month in which that time ends, and in one that still runs as far as it has come.
"""

import json
import os
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

from wanwatch.core.account.period import Period, month_before, month_of
from wanwatch.core.account.standing import Standing
from wanwatch.core.model import NS_PER_S, Json
from wanwatch.core.ports import Record
from wanwatch.report.digest import digest
from wanwatch.report.figures_json import number
from wanwatch.report.kept import write_whole
from wanwatch.report.month import build_period
from wanwatch.report.months import LineRow, MonthRow
from wanwatch.report.subject import Subject
from wanwatch.report.values import MonthReport, UplinkReport
from wanwatch.report.verdicts import worst
from wanwatch.report.verdicts_json import verdicts_from_json, verdicts_to_json

MONTHS_BACK: Final = 12
_US_PER_S: Final = 1_000_000
_SETTLED_NS: Final = 600 * NS_PER_S
"""So long after a month's end its last minute is surely written."""


def history(
    record: Record, subject: Subject, report: MonthReport, folder: Path | None, now_unix_ns: int
) -> tuple[MonthRow, ...]:
    """Return the twelve months before a report's last month, oldest first, and that month itself last.

    Months before the record began are left out. The last month is the report's own where it is one, and kept as well.

    Args:
        record: The record.
        subject: The site.
        report: The report.
        folder: Where figures of months are kept; they are not if it is None, is not there or cannot be written.
        now_unix_ns: The wall clock.
    """
    zone = subject.zone
    this = month_of(report.of.year, report.of.month, zone)
    back = [month_before(this, zone, number) for number in range(MONTHS_BACK, 0, -1)]
    begun = [month for month in back if record.watched(subject.site, month.span)]
    rows = [month_row(record, subject, month, now_unix_ns, folder) for month in begun]
    if report.of == this:
        return (*rows, month_row(record, subject, this, now_unix_ns, folder, report))
    last = [this] if record.watched(subject.site, this.span) else []
    return (*rows, *(month_row(record, subject, month, now_unix_ns, folder) for month in last))


def row_of(month: Period, report: MonthReport) -> MonthRow:
    """Return what stands of a month beside others, from its report.

    Of a month that is over these are the promises whose time is over, too; its own report tells the others so far.
    """
    always = {name: line.states.always for name, line in report.accounts.lines.items()}
    ends_unix_ns = None if report.running else month.span.end_unix_ns
    lines = tuple(_line(one, always[one.name], ends_unix_ns) for one in report.uplinks)
    return MonthRow(name=month.name, title=month.title, running=report.running, lines=lines)


def _line(one: UplinkReport, always: Standing, ends_unix_ns: int | None) -> LineRow:
    clauses = tuple(found for found in one.clauses if ends_unix_ns is None or found.period.end_unix_ns <= ends_unix_ns)
    return LineRow(
        name=one.name,
        availability=number(one.availability.value),
        low=number(one.availability.low),
        high=number(one.availability.high),
        down_s=one.times.down_ns / NS_PER_S,
        unobserved_s=one.times.unobserved_ns / NS_PER_S,
        outages=always.outages,
        p95_s={target.target: number(target.p95_us, _US_PER_S) for target in one.targets},
        loss={target.target: number(target.loss) for target in one.targets},
        bps={way: found.median_bps for way, found in one.speed.items()},
        verdict=worst(clauses),
        clauses=clauses,
        credits=one.credits,
    )


def month_row(
    record: Record, subject: Subject, month: Period, now_unix_ns: int, folder: Path | None,
    made: MonthReport | None = None,
) -> MonthRow:  # fmt: skip
    """Return what stands of a month beside others: as it was kept, or reckoned, and kept if it is over.

    Args:
        record: The record.
        subject: The site.
        month: The month, which has begun.
        now_unix_ns: The wall clock.
        folder: Where figures of months are kept; they are not if it is None, is not there or cannot be written.
        made: Its own report, where that was made already.
    """
    mark = digest(record, subject, month)
    path = folder / f"{month.name}.figures.json" if folder else None
    kept = _read(path, mark, subject)
    if kept is not None and kept[0]:
        return kept[1]
    over = now_unix_ns >= month.span.end_unix_ns
    report = made or build_period(record, subject, month, now_unix_ns, detailed=False, ending=over)
    row = row_of(month, report)
    if kept is not None:
        row = row.with_delays_of(kept[1])
    if path is not None and now_unix_ns >= month.span.end_unix_ns + _SETTLED_NS:
        _keep(path, {"digest": mark, "month": row.to_json(), "verdicts": _verdicts(row, subject)})
    return row


def _read(path: Path | None, mark: str, subject: Subject) -> tuple[bool, MonthRow] | None:
    """Return what is kept of a month, and whether it still holds; None where nothing is, or nothing that makes sense.

    Of what does not hold any more there are figures, and no verdicts: they could be of other contracts.
    """
    try:
        told = json.loads(path.read_text("utf-8")) if path else None
        if told is None:
            return None
        row = MonthRow.from_json(told["month"])
        holds = told["digest"] == mark
        return holds, _with_verdicts(row, subject, told["verdicts"]) if holds else row
    except (OSError, ValueError, LookupError, TypeError, AttributeError):
        return None


def _verdicts(row: MonthRow, subject: Subject) -> Json:
    plans = {plan.name: plan for plan in subject.uplinks}
    return {o.name: verdicts_to_json(plans[o.name], o.clauses, o.credits) for o in row.lines if o.name in plans}


def _with_verdicts(row: MonthRow, subject: Subject, told: Mapping[str, Any]) -> MonthRow:
    found = {p.name: verdicts_from_json(p, told[p.name]) for p in subject.uplinks if p.name in told}
    lines = [(line, *found.get(line.name, ((), ()))) for line in row.lines]
    return replace(row, lines=tuple(replace(line, clauses=c, credits=o) for line, c, o in lines))


def _keep(path: Path, value: Json) -> None:
    if not os.access(path.parent, os.W_OK):
        return  # a reader without the right to write goes without
    write_whole(path, (json.dumps(value, ensure_ascii=False, indent=1) + "\n").encode())
