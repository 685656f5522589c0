"""Parts: the months of a quarter or of a year, each with the verdicts and credits that its own report has."""

from collections.abc import Iterator, Mapping, Sequence
from itertools import zip_longest
from pathlib import Path

from wanwatch.core.account.calendar import Per
from wanwatch.core.account.period import Period, month_before, month_of
from wanwatch.core.ports import Record
from wanwatch.report.history import month_row
from wanwatch.report.months import LineRow, MonthRow
from wanwatch.report.subject import Subject
from wanwatch.report.values import MonthReport
from wanwatch.report.verdicts import ClauseResult, Part


def parts(
    record: Record,
    subject: Subject,
    report: MonthReport,
    rows: Sequence[MonthRow],
    folder: Path | None,
    now_unix_ns: int,
) -> Mapping[str, tuple[Part, ...]]:
    """Return the months of a report by line, oldest first; none of a report of a month, or of days.

    A month that nobody watched is one, too: nothing is decided in it. One that has not begun is none.

    Args:
        record: The record.
        subject: The site.
        report: The report.
        rows: Months that are known already.
        folder: Where figures of months are kept; None for nowhere.
        now_unix_ns: The wall clock.
    """
    known = {row.name: row for row in rows}
    begun = [month for month in _months(report.of, subject) if month.span.start_unix_ns < report.now_unix_ns]
    found = [
        (month, known.get(month.name) or month_row(record, subject, month, now_unix_ns, folder)) for month in begun
    ]
    return {one.name: tuple(_of_line(report.of, found, one.name)) for one in report.uplinks}


def _months(of: Period, subject: Subject) -> list[Period]:
    if of.per in {None, Per.MONTH}:
        return []
    last = month_of(of.year, of.month, subject.zone)
    return [month_before(last, subject.zone, back) for back in range(of.per.months - 1, -1, -1)]


def _of_line(of: Period, found: Sequence[tuple[Period, MonthRow]], name: str) -> Iterator[Part]:
    following = [month.span.end_unix_ns for month, _ in found[1:]]
    for (_, row), after_unix_ns in zip_longest(found, following):
        line = row.line(name)
        if line is not None:
            due = tuple(_due(of, line, after_unix_ns))
            yield Part(name=row.name, running=row.running, clauses=due, credits=line.credits)


def _due(of: Period, line: LineRow, after_unix_ns: int | None) -> Iterator[ClauseResult]:
    """Yield the clauses whose time is shorter than the report's, in the last month of it that has begun."""
    for clause in line.clauses:
        goes_on = after_unix_ns is not None and after_unix_ns <= clause.period.end_unix_ns
        if of.per is not None and clause.promise.per.months < of.per.months and not goes_on:
            yield clause
