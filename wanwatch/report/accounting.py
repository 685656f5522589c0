"""Accounting: reckons how the lines of a site, the site, and ordinary traffic stood."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Final

import numpy as np

from wanwatch.core.account.allowance import Allowance, allowance
from wanwatch.core.account.spans import union
from wanwatch.core.account.standing import any_of, as_felt, silences, standing
from wanwatch.core.account.timeline import Timeline, event_span, probed_spans, timeline
from wanwatch.core.account.y1540 import Edition, Intervals
from wanwatch.core.model import NS_PER_S, UNPINNED, Event, Role, Series, Span
from wanwatch.report.accounts import Account, Accounts, Hours, LineAccount
from wanwatch.report.gathering import Seen
from wanwatch.report.sequence import Whole
from wanwatch.report.subject import Subject
from wanwatch.report.values import UplinkReport

_MINUTE_NS: Final = 60 * NS_PER_S


def path_of(all_series: Iterable[Series]) -> list[Series]:
    """Return the series that speak for the path of ordinary traffic."""
    return [series for series in all_series if series.uplink == UNPINNED and series.role is Role.LINE]


def accounts_of(
    subject: Subject, uplinks: Sequence[UplinkReport], minutes: Mapping[Series, Seen], *,
    period: Span, events: Sequence[Event], watched: Sequence[Span], now_unix_ns: int, by_interval: bool,
) -> Accounts:  # fmt: skip
    """Account for the lines, the site and its people.

    Args:
        subject: The site.
        uplinks: Its lines with their states, their outages and what became of their promises.
        minutes: What the minutes say by themselves, of the lines and of ordinary traffic.
        period: The time that is reported on.
        events: All events of it.
        watched: When a daemon was alive.
        now_unix_ns: The future begins here.
        by_interval: Whether every minute of the period was read by itself, which intervals of loss are reckoned from.
    """
    hours = Hours.of(period, subject.working, subject.zone)
    path = timeline(
        period, UNPINNED, events=events, watched=watched, probed=_probed(minutes), now_unix_ns=now_unix_ns
    )  # fmt: skip
    return Accounts(
        edition=subject.y1540,
        lines={one.name: _line(subject, one, minutes if by_interval else None, hours, now_unix_ns) for one in uplinks},
        site=_site([one.states for one in uplinks], hours),
        people=_people(path, events, hours, now_unix_ns),
    )


def _line(
    subject: Subject, one: UplinkReport, minutes: Mapping[Series, Seen] | None, hours: Hours, now_unix_ns: int
) -> LineAccount:
    outages = [event_span(event, now_unix_ns) for event in one.outages]
    seen = [(s, m) for s, m in (minutes or {}).items() if s.uplink == one.name and s.role is Role.LINE]
    return LineAccount(
        states=_account(one.states, outages, hours),
        y1540=None if minutes is None else by_intervals(seen, one.states, subject.y1540),
        allowances=tuple(_allowances(one, min(now_unix_ns, hours.period.end_unix_ns))),
    )


def _account(states: Timeline, troubles: Sequence[Span], hours: Hours) -> Account:
    working = standing(states, troubles, hours.working) if hours.working else None
    return Account(standing(states, troubles, [hours.period]), working)


def _site(lines: Sequence[Timeline], hours: Hours) -> Account:
    states = any_of(hours.period, lines)
    return _account(states, states.down, hours)


def _people(path: Timeline, events: Sequence[Event], hours: Hours, now_unix_ns: int) -> Account | None:
    silent = silences(events, now_unix_ns)
    found = _account(as_felt(path, hours.period, silent), silent, hours)
    return found if found.always.times.observed_ns else None


def _probed(minutes: Mapping[Series, Seen]) -> tuple[Span, ...]:
    return probed_spans((run for series in path_of(minutes) for run in minutes[series].probed), 1)


def by_intervals(seen: Iterable[tuple[Series, Seen]], states: Timeline, edition: Edition) -> Intervals:
    """Count the intervals of a line, of those that were wholly observed, from its targets' minutes.

    Over arrays: a month has a quarter of a million minutes.
    """
    sums: dict[str, Whole] = {}
    first, width = _frame(states, edition)
    for series, one in seen:
        numbers, counts = _observed(one, states, edition)
        held = sums.setdefault(series.target, np.zeros((2, width), np.int64))
        places = numbers - first
        for row, column in zip(held, counts, strict=True):
            np.add.at(row, places, column)
    decided, available = np.zeros((2, width), np.bool_)
    for sent, lost in sums.values():
        enough = sent >= edition.least
        decided |= enough
        available |= enough & (lost * edition.c1.denominator <= sent * edition.c1.numerator)
    return Intervals(int(available.sum()), int((decided & ~available).sum()))


def _frame(states: Timeline, edition: Edition) -> tuple[int, int]:
    """The first interval that a line's states touch, and how many there are."""
    spans = (*states.up, *states.impaired, *states.down)
    if not spans:
        return 0, 0
    length_ns = edition.minutes * _MINUTE_NS
    first, last = min(s.start_unix_ns for s in spans) // length_ns, max(s.end_unix_ns for s in spans) // length_ns
    return first, last - first + 1


def _observed(one: Seen, states: Timeline, edition: Edition) -> tuple[Whole, Whole]:
    """Of each minute of an interval that was wholly observed: the interval, and what was asked and missed."""
    observed = union(states.up, states.impaired, states.down)
    edges = np.array([edge for span in observed for edge in (span.start_unix_ns, span.end_unix_ns)], np.int64)
    numbers = np.array(one.minutes, np.int64) // edition.minutes
    length_ns = edition.minutes * _MINUTE_NS
    starts = numbers * length_ns
    begun, ended = (np.searchsorted(edges, at, side="right") for at in (starts, starts + length_ns - 1))
    within = (begun == ended) & (begun % 2 == 1)
    return numbers[within], np.array([one.asked, one.missed], np.int64)[:, within]


def _allowances(one: UplinkReport, now_unix_ns: int) -> Iterator[Allowance]:
    for clause in one.clauses:
        if clause.promise.measure == "availability":
            yield allowance(clause.promise.limit, clause.times, one.states, now_unix_ns)
