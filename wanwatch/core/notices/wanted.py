"""What one address is to be told now, from what is known and what it was told before.

Rule 1: what an address was told of a case is a stage; what the case shows is looked up beside it in `TABLE`.
Rule 2: in quiet hours nothing is told, unless the case holds a kind that goes through; what passes meanwhile is told
        in one notice when they are over. Nothing is remembered for that: the table says the same a minute later.
Rule 3: of more notices than an hour may have, those that are too many are one; while there is room for none, none.

An incident can last for weeks, since all that overlaps is one. So a line more, or one less, is told within it.

Source: the rules are ours, with no published source.
"""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from enum import StrEnum
from types import MappingProxyType
from typing import Final

from wanwatch.core.account.calendar import local_time
from wanwatch.core.model import NS_PER_S
from wanwatch.core.notices.case import CLOSING, STALE_NS, Case, flat
from wanwatch.core.notices.notice import Kind, Notice, Terms
from wanwatch.core.notices.standing import Shows, Standing, standing

REPORT_PREFIX: Final = "report-"
"""Before the month, what a notice of its report is about."""
HOUR_NS: Final = 3600 * NS_PER_S


class Stage(StrEnum):
    """What an address was told of a case."""

    UNTOLD = "untold"
    TOLD = "told"
    OVER = "told as over"


TABLE: Final[Mapping[Stage, Mapping[Shows, Kind | None]]] = {
    # A line that comes and goes is told less and less: each end waits twice as long as the one before.
    Stage.UNTOLD: {
        Shows.GOES_ON: Kind.BEGAN, Shows.WORSE: Kind.BEGAN, Shows.BETTER: Kind.BEGAN,
        Shows.SETTLING: None, Shows.CALM: None, Shows.NEWS: Kind.PASSED,
    },
    Stage.TOLD: {
        Shows.GOES_ON: None, Shows.WORSE: Kind.WORSE, Shows.BETTER: Kind.BETTER,
        Shows.SETTLING: None, Shows.CALM: Kind.ENDED, Shows.NEWS: Kind.ENDED,
    },
    Stage.OVER: {
        Shows.GOES_ON: Kind.AGAIN, Shows.WORSE: Kind.AGAIN, Shows.BETTER: Kind.AGAIN,
        Shows.SETTLING: None, Shows.CALM: None, Shows.NEWS: Kind.PASSED,
    },
}  # fmt: skip
"""A row for each stage, a column for what the case shows; None: nothing is told, or a reminder where one is due."""


def wanted(
    known: Iterable[Case],
    told: Sequence[Notice],
    terms: Terms,
    now_unix_ns: int,
    *,
    reports: Mapping[str, int] = MappingProxyType({}),
    waiting: Collection[str] = (),
) -> list[Notice]:
    """Return the notices to be made now; the same question, once they are kept as told, has an empty answer.

    Args:
        known: The cases of the site, by start, with at least all that was told and is not over, and the last two days.
        told: All notices that were made for this address, in order of making, whether they were sent or not.
        terms: What the address asked for.
        now_unix_ns: The wall clock.
        reports: The months, such as `2026-10`, that a report is there of, and when it was written (Unix nanoseconds).
        waiting: The ids of notices that have not been sent yet: no reminder is put behind one.
    """
    before = flat(told)
    found = [*_of_cases(known, before, terms, now_unix_ns, waiting), *_of_reports(reports, before, terms, now_unix_ns)]
    return _limited(found, told, terms, now_unix_ns)


def trial(terms: Terms, now_unix_ns: int) -> Notice:
    """Return a notice that tells nothing but that notices arrive."""
    return Notice(terms.site, terms.to, Kind.TEST, f"test-{now_unix_ns}", made_unix_ns=now_unix_ns)


def _of_cases(
    known: Iterable[Case], before: Sequence[Notice], terms: Terms, now_unix_ns: int, waiting: Collection[str]
) -> Iterator[Notice]:
    quiet = in_quiet_hours(terms, now_unix_ns)
    for case in known:
        names = case.names()
        mine = [notice for notice in before if notice.about in names]
        stands = standing(case, mine, terms, now_unix_ns)
        if quiet and not terms.through & stands.kinds:
            continue
        kind = TABLE[stage_of(mine)][stands.shows]
        if kind is None and _reminder_due(mine, stands, terms, now_unix_ns) and not _any_waits(mine, waiting):
            kind = Kind.REMINDER
        if kind is not None:
            yield _notice(case, kind, mine, stands, terms, now_unix_ns)


def stage_of(mine: Sequence[Notice]) -> Stage:
    """Return the stage that the notices about one case, in the order of their making, have brought it to."""
    if not mine:
        return Stage.UNTOLD
    return Stage.OVER if mine[-1].kind in CLOSING else Stage.TOLD


def in_quiet_hours(terms: Terms, unix_ns: int) -> bool:
    """Say whether the address wants to be left alone at that instant."""
    if terms.quiet is None:
        return False
    begin, end = terms.quiet
    shown = local_time(unix_ns, terms.zone)
    minute = shown.hour * 60 + shown.minute
    return begin <= minute < end if begin < end else minute >= begin or minute < end


def _reminder_due(mine: Sequence[Notice], stands: Standing, terms: Terms, now_unix_ns: int) -> bool:
    if terms.remind_every_ns is None or stage_of(mine) is not Stage.TOLD or stands.shows is not Shows.GOES_ON:
        return False
    # A last word from the future was said before the clock was set back: nobody knows how long ago.
    return not 0 <= now_unix_ns - mine[-1].made_unix_ns < terms.remind_every_ns


def _any_waits(mine: Iterable[Notice], waiting: Collection[str]) -> bool:
    return any(notice.id in waiting for notice in mine)


def _notice(case: Case, kind: Kind, mine: Sequence[Notice], stands: Standing, terms: Terms, now_unix_ns: int) -> Notice:
    about, *also = dict.fromkeys([notice.about for notice in mine] or [case.id])
    return Notice(
        terms.site,
        terms.to,
        kind,
        about,
        count=1 + sum(notice.kind is kind for notice in mine),
        made_unix_ns=now_unix_ns,
        lines=stands.lines,
        signs=stands.signs,
        also=tuple(also),
    )


def _of_reports(
    reports: Mapping[str, int], before: Sequence[Notice], terms: Terms, now_unix_ns: int
) -> Iterator[Notice]:
    if not terms.reports or in_quiet_hours(terms, now_unix_ns):
        return
    sent = {notice.about for notice in before if notice.kind is Kind.REPORT}
    earliest_ns = max(terms.since_unix_ns, now_unix_ns - STALE_NS)
    for month, written_unix_ns in sorted(reports.items()):
        if written_unix_ns >= earliest_ns and (about := REPORT_PREFIX + month) not in sent:
            yield Notice(terms.site, terms.to, Kind.REPORT, about, made_unix_ns=now_unix_ns)


def _limited(found: Sequence[Notice], told: Iterable[Notice], terms: Terms, now_unix_ns: int) -> list[Notice]:
    """Join what is too much; a test that somebody asked for counts for nothing."""
    lately = sum(now_unix_ns - HOUR_NS < n.made_unix_ns <= now_unix_ns for n in told if n.kind is not Kind.TEST)
    room = max(0, terms.most_an_hour - lately)
    if len(found) <= room:
        return list(found)
    if not room:
        return []
    alone, joined = found[: room - 1], found[room - 1 :]
    about = f"{joined[0].about}/{joined[0].kind}-{joined[0].count}"
    several = Notice(terms.site, terms.to, Kind.SEVERAL, about, made_unix_ns=now_unix_ns, parts=tuple(joined))
    return [*alone, several]
