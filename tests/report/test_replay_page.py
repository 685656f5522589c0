"""The page of a replay: settings against outcomes."""

from dataclasses import replace

from tests.fakes.month import EVENTS, PERIOD, PROMISES, SUBJECT, WATCHED, blocks, build_month, event
from tests.fakes.record import FakeRecord
from wanwatch.core.account.clauses import Verdict
from wanwatch.core.model import EventKind, JudgeSettings
from wanwatch.core.replay import RECORDED, Outcome, Row, Ruled, tally
from wanwatch.report.replay_page import chart, render_html
from wanwatch.report.replayed import AsIf, ruled

OUTAGE = event(EventKind.OUTAGE, "13 13:03:20", "13 13:34:24")
OUTCOME = Outcome(PERIOD, ((OUTAGE,), ()), 600, 0, None)
TABLE = [
    Row(RECORDED, tuple(EVENTS), None, (Ruled("fibre", PROMISES[0], Verdict.BREACHED),)),
    Row("down_after 2s", (OUTAGE,), JudgeSettings(), (Ruled("fibre", PROMISES[0], Verdict.UNDECIDED),)),
    Row("down_after 1h", (), JudgeSettings(), (Ruled("fibre", PROMISES[0], Verdict.MET),)),
]


def test_the_page_shows_each_setting_with_its_outcomes_and_verdicts() -> None:
    """The figures of the text's table, and what a contract would make of them."""
    text = render_html(SUBJECT, TABLE, OUTCOME)
    for words in (
        "as recorded",
        "down_after 2s",
        "down_after 1h",
        "31\N{NO-BREAK SPACE}min\N{NO-BREAK SPACE}4\N{NO-BREAK SPACE}s",
    ):
        assert words in text
    assert [text.count(f'class="verdict {verdict.value}"') for verdict in Verdict] == [1, 1, 1]
    assert text.count("600 samples were judged again") == 1
    assert "default-src 'none'" in text


def test_what_cannot_be_judged_again_is_a_question_mark_in_table_and_chart() -> None:
    """Recorded switches are known, replayed ones are not: the record does not hold who carried."""
    text = render_html(SUBJECT, TABLE, OUTCOME)
    assert text.count('<td class="figure">?</td>') == 2 * 4
    tallies = [tally(row.events, ["fibre", "copper"], PERIOD) for row in TABLE]
    assert chart(tallies, [True, False, False], SUBJECT.pen).count(">?</text>") == 2
    assert chart(tallies, [True, True, True], SUBJECT.pen).count(">?</text>") == 0


def test_a_bar_is_as_long_as_its_figure_says_and_no_name_is_drawn() -> None:
    """The chart has the figures as text; names are the page's matter."""
    drawn = chart([tally(row.events, ["fibre", "copper"], PERIOD) for row in TABLE], [True] * 3, SUBJECT.pen)
    assert ">1864</text>" in drawn
    assert ">1</text>" in drawn
    assert "fibre" not in drawn


def test_names_cannot_become_markup() -> None:
    """A line's name comes from a configuration."""
    bad = "<script>alert(1)</script>"
    plans = (replace(SUBJECT.uplinks[0], name=bad), *SUBJECT.uplinks[1:])
    assert bad not in render_html(replace(SUBJECT, site=bad, uplinks=plans), TABLE, OUTCOME)


def test_a_time_that_nobody_watched_has_no_chart() -> None:
    """Nothing is made up of nothing."""
    text = render_html(SUBJECT, TABLE, Outcome(replace(PERIOD, end_unix_ns=PERIOD.start_unix_ns), (), 0, 0, None))
    assert "Nothing was watched in that time." in text
    assert "<svg" not in text


def test_the_recorded_events_of_a_whole_month_have_the_months_own_verdicts() -> None:
    """One code path: what was judged live and what is judged again come to the same."""
    record = FakeRecord(SUBJECT.site, EVENTS, WATCHED, list(blocks(20)))
    month = build_month(record, SUBJECT, 2026, 10, PERIOD.end_unix_ns)
    found = ruled(record, SUBJECT, EVENTS, PERIOD)
    assert [one.verdict for one in found] == [c.ruling.verdict for line in month.uplinks for c in line.clauses]
    without = ruled(record, SUBJECT, [], PERIOD)
    assert (found[0].verdict, without[0].verdict) == (Verdict.BREACHED, Verdict.UNDECIDED)


def test_announced_work_is_counted_out_of_a_replay_too() -> None:
    """It was announced to the record, not to the judge, so no setting takes it away."""
    work = event(EventKind.PLANNED_WORK, "13 13:00:00", "13 14:00:00", detail={"why": "x", "announced": "beforehand"})
    retold = AsIf(FakeRecord(SUBJECT.site, [*EVENTS, work], WATCHED, []), [OUTAGE])
    found = retold.events(SUBJECT.site, PERIOD)
    assert [(one.kind, one.planned) for one in found] == [
        (EventKind.PLANNED_WORK, False),
        (EventKind.OUTAGE, True),
    ]
