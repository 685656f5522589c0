"""Months side by side: from what was kept of each, as long as nothing that was told of it has changed."""

import json
from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from tests.fakes.month import EVENTS, PERIOD, SERIES, SITE, SUBJECT, WATCHED, at, event, record
from tests.fakes.record import MINUTE_NS, FakeRecord, minute_block
from wanwatch.core.account.period import last_days, month_of, quarter_of
from wanwatch.core.model import Event, EventKind, Series, Span
from wanwatch.core.ports import MinuteBlock
from wanwatch.report import history as under_test
from wanwatch.report.history import history
from wanwatch.report.month import build_period
from wanwatch.report.months import MonthRow
from wanwatch.report.values import MonthReport

NOVEMBER = month_of(2026, 11, SUBJECT.zone)
AFTER = NOVEMBER.span.end_unix_ns + 3600 * 10**9
NEAR = SERIES["fibre", "near"]


class Counting(FakeRecord):
    """A record that counts how often its minutes were read."""

    def __init__(self, *args: object) -> None:
        super().__init__(*args)  # type: ignore[arg-type]  # passed on as they are
        self.reads = 0

    def blocks(self, site: str, span: Span, series: Sequence[Series] | None = None) -> Iterator[MinuteBlock]:
        """Count, and tell."""
        self.reads += 1
        return super().blocks(site, span, series)


def kept(*, events: Collection[Event] = EVENTS, keep_raw: bool = True) -> Counting:
    """October's events, with a minute of samples in October and one in November."""
    watched = [*WATCHED, NOVEMBER.span]
    minutes = [
        minute_block(
            NEAR, instant // MINUTE_NS, [0, 1000], [9_000, 9_500], keep_raw=keep_raw or instant > PERIOD.end_unix_ns
        )
        for instant in (at("14 12:00:00"), NOVEMBER.span.start_unix_ns + 10**12)
    ]
    return Counting(SITE, list(events), watched, minutes)


def november(record_: FakeRecord) -> MonthReport:
    """The report of the month after."""
    return build_period(record_, SUBJECT, NOVEMBER, AFTER)


def rows(record_: FakeRecord, folder: Path | None) -> tuple[MonthRow, ...]:
    """The months beside November's report."""
    return history(record_, SUBJECT, november(record_), folder, AFTER)


def test_months_before_the_record_began_are_left_out(tmp_path: Path) -> None:
    """October and November, and none of the eleven months before."""
    assert [row.name for row in rows(kept(), tmp_path)] == ["2026-10", "2026-11"]


def test_a_month_beside_others_has_its_own_report_s_figures() -> None:
    """October in full: the row is what its report says."""
    october = build_period(record(), SUBJECT, month_of(2026, 10, SUBJECT.zone), PERIOD.end_unix_ns)
    (row,) = history(record(), SUBJECT, october, None, PERIOD.end_unix_ns)
    fibre = row.line("fibre")
    assert fibre is not None
    assert (fibre.down_s, fibre.unobserved_s, fibre.outages, fibre.verdict) == (3372.0, 2820.0, 4, "breached")
    assert fibre.availability == 2_675_808 / 2_679_180
    near = october.uplinks[0].targets[0]
    assert fibre.p95_s["near"] == float((near.p95_us or 0) / 1_000_000)
    assert row.line("nobody") is None


def test_what_was_kept_is_taken_and_the_minutes_are_not_read_again(tmp_path: Path) -> None:
    """A month's samples are read once in its life; the second time they are not asked for."""
    first = rows(kept(), tmp_path)
    again = kept()
    told = november(again)
    before = again.reads
    assert history(again, SUBJECT, told, tmp_path, AFTER) == first
    assert again.reads == before


def test_a_month_that_still_runs_is_not_kept(tmp_path: Path) -> None:
    """Only October is; November goes on, or its last minute may not be written yet."""
    for now in (NOVEMBER.span.end_unix_ns - 1, NOVEMBER.span.end_unix_ns + 1):
        told = build_period(kept(), SUBJECT, NOVEMBER, now)
        history(kept(), SUBJECT, told, tmp_path, now)
        assert [path.name for path in tmp_path.iterdir()] == ["2026-10.figures.json"]


def test_a_month_that_is_over_is_kept_by_its_own_report(tmp_path: Path) -> None:
    """Not only by the next one's: its raw samples may be pruned by then."""
    rows(kept(), tmp_path)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["2026-10.figures.json", "2026-11.figures.json"]
    later = kept(keep_raw=False)
    december = month_of(2026, 12, SUBJECT.zone)
    told = build_period(later, SUBJECT, december, december.span.end_unix_ns)
    before = later.reads
    _, november_, _ = history(later, SUBJECT, told, tmp_path, december.span.end_unix_ns)
    assert later.reads == before
    assert [line.p95_s for line in november_.lines] == [line.p95_s for line in rows(kept(), None)[-1].lines]


@pytest.mark.parametrize("change", ["event", "contract", "watched"])
def test_what_changes_a_month_s_figures_makes_it_be_reckoned_anew(change: str, tmp_path: Path) -> None:
    """Work announced afterwards, another contract, more that was watched: the digest is another one."""
    rows(kept(), tmp_path)
    later, subject = kept(), SUBJECT
    if change == "event":
        work = event(EventKind.PLANNED_WORK, "20 18:00:00", "20 22:00:00", None)
        later = kept(events=[*EVENTS, work])
    elif change == "contract":
        subject = replace(SUBJECT, uplinks=(replace(SUBJECT.uplinks[0], contracts=()), SUBJECT.uplinks[1]))
    else:
        later._watched = [Span(PERIOD.start_unix_ns, AFTER)]
    told = build_period(later, subject, NOVEMBER, AFTER)
    before = later.reads
    history(later, subject, told, tmp_path, AFTER)
    assert later.reads > before


def test_percentiles_outlive_their_samples(tmp_path: Path) -> None:
    """October is reckoned anew for a changed event, its raw samples are pruned: its delays stay known."""
    first = rows(kept(), tmp_path)[0].line("fibre")
    fewer = EVENTS[1:]
    without = rows(kept(events=fewer, keep_raw=False), None)[0].line("fibre")
    found = rows(kept(events=fewer, keep_raw=False), tmp_path)[0].line("fibre")
    assert first is not None
    assert without is not None
    assert found is not None
    assert first.p95_s["near"] == 0.0095
    assert without.p95_s["near"] is None
    assert found.p95_s["near"] == 0.0095
    assert found.outages == first.outages - 1


@pytest.mark.parametrize("text", ["", "[]", "null", '{"digest": 1}', '{"digest": "x", "month": {"lines": 3}}', "\x00"])
def test_a_file_that_makes_no_sense_is_as_if_it_were_not_there(text: str, tmp_path: Path) -> None:
    """Somebody's editor, or a disk; the month is reckoned from the record."""
    expected = rows(kept(), None)
    (tmp_path / "2026-10.figures.json").write_text(text, "utf-8")
    assert rows(kept(), tmp_path) == expected


def test_without_a_folder_everything_is_reckoned(tmp_path: Path) -> None:
    """Nobody has made one: nothing is written, and nothing is missing."""
    assert rows(kept(), tmp_path / "nowhere") == rows(kept(), None)
    assert list(tmp_path.iterdir()) == []


def test_a_quarter_stands_beside_its_last_month() -> None:
    """The rows of a quarter, or of days, end with the month in which they end."""
    for period in (quarter_of(2026, 4, SUBJECT.zone), last_days(3, AFTER, SUBJECT.zone)):
        report = build_period(kept(), SUBJECT, period, AFTER)
        names = [row.name for row in history(kept(), SUBJECT, report, None, AFTER)]
        assert names == ["2026-10", "2026-11"]


def test_a_row_survives_its_journey_through_json() -> None:
    """What is read back is what was written; verdicts and credits are kept beside (see `test_parts`)."""
    (row,) = rows(kept(), None)[:1]
    figures = replace(row, lines=tuple(replace(line, clauses=(), credits=()) for line in row.lines))
    assert MonthRow.from_json(json.loads(json.dumps(row.to_json()))) == figures
    assert under_test.MONTHS_BACK == 12
