"""The command behind `wanwatch report`: which month, where to, and what it says when it cannot."""

import json
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from tests.fakes.month import PERIOD, SITE, SUBJECT, at, record
from tests.fakes.record import FakeRecord
from wanwatch.core.account.period import month_of
from wanwatch.core.model import NS_PER_S, Span
from wanwatch.report import OutputError, PeriodError
from wanwatch.report.command import Asked, chosen, write_report

OCTOBER = month_of(2026, 10, SUBJECT.zone)
EMPTY = FakeRecord(SITE, [], [], [])


def test_without_a_month_the_running_one_is_meant_by_the_site_s_clocks() -> None:
    """At 23:30 UTC on 30 September it is October in London already."""
    now = PERIOD.start_unix_ns + 1800 * NS_PER_S
    assert chosen(SUBJECT, Asked(), now).name == "2026-10"
    assert chosen(replace(SUBJECT, timezone="UTC"), Asked(), now).name == "2026-09"


def test_a_month_is_named_by_year_and_month() -> None:
    """As RFC 3339 writes the first part of a date."""
    assert chosen(SUBJECT, Asked(month="2026-03"), PERIOD.end_unix_ns) == month_of(2026, 3, SUBJECT.zone)


def test_quarters_years_and_days_are_chosen_likewise() -> None:
    """October is in the fourth quarter; the last two whole days before a noon are those before its midnight."""
    now = at("14 12:00:00")
    assert chosen(SUBJECT, Asked(quarter="2026-Q4"), now).name == "2026-Q4"
    assert chosen(SUBJECT, Asked(year="2026"), now).name == "2026"
    days = chosen(SUBJECT, Asked(days=2), now)
    assert (days.name, days.span) == ("2-days-to-2026-10-13", Span(at("11 23:00:00"), at("13 23:00:00")))


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("october", "not a year and a month"),
        ("2026-10-01", "not a year and a month"),
        ("2026-13", "the calendar has no such month"),
        ("0000-01", "the calendar has no such month"),
        ("2026-12", "it has not begun"),
    ],
)
def test_a_month_that_cannot_be_reported_on_is_told_with_its_reason(text: str, reason: str) -> None:
    """What was given, why it will not do, what to write instead."""
    with pytest.raises(PeriodError) as raised:
        chosen(SUBJECT, Asked(month=text), PERIOD.end_unix_ns)
    assert str(raised.value) == f"month {text!r}: {reason}; write a past month or the running one as 2026-10"


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        (Asked(quarter="2026-10"), "quarter '2026-10': not a year and a quarter; write a past quarter or the running"),
        (Asked(quarter="2026-Q5"), "quarter '2026-Q5': the calendar has no such quarter; write a past quarter or the"),
        (Asked(quarter="2027-Q1"), "quarter '2027-Q1': it has not begun; write a past quarter or the running one as"),
        (Asked(year="26"), "year '26': not a year; write a past year or the running one as 2026"),
        (Asked(days=0), "days '0': too few or too many; write how many whole days back, 1 to 366"),
        (Asked(days=367), "days '367': too few or too many; write how many whole days back, 1 to 366"),
    ],
)
def test_other_periods_are_refused_likewise(asked: Asked, told: str) -> None:
    """What was given, why it will not do, what to write instead."""
    with pytest.raises(PeriodError) as raised:
        chosen(SUBJECT, asked, PERIOD.end_unix_ns)
    assert str(raised.value).startswith(told)


@pytest.mark.parametrize("form", ["html", "json"])
def test_a_report_is_written_to_a_file(form: str, tmp_path: Path) -> None:
    """Nothing but the report, in UTF-8."""
    out = tmp_path / f"month.{form}"
    write_report(EMPTY, SUBJECT, OCTOBER, now_unix_ns=PERIOD.end_unix_ns, form=form, out=out)
    text = out.read_text("utf-8")
    assert json.loads(text)["site"] == SITE if form == "json" else text.endswith("</html>\n")


def test_a_report_is_printed_as_it_is_written(tmp_path: Path) -> None:
    """By the same command; what is on the sheets is `test_pdf`'s matter (ISO 32000-1 section 7.5.2: the header)."""
    out, end_ns = tmp_path / "month.pdf", PERIOD.end_unix_ns
    write_report(EMPTY, SUBJECT, OCTOBER, now_unix_ns=end_ns, form="pdf", out=out, paper="Letter")
    assert out.read_bytes().startswith(b"%PDF-1.")


def test_without_a_file_it_goes_to_standard_output(capsys: pytest.CaptureFixture[str]) -> None:
    """And no progress is told where nobody looks at a terminal."""
    write_report(EMPTY, SUBJECT, OCTOBER, now_unix_ns=PERIOD.end_unix_ns, form="json", out=None)
    captured = capsys.readouterr()
    assert json.loads(captured.out)["uplinks"][0]["observed_s"] == 0
    assert captured.err == ""


def test_a_place_that_cannot_be_written_to_is_told(tmp_path: Path) -> None:
    """The path, the reason, the mend."""
    out = tmp_path / "missing" / "month.json"
    with pytest.raises(OutputError) as raised:
        write_report(EMPTY, SUBJECT, OCTOBER, now_unix_ns=PERIOD.end_unix_ns, form="json", out=out)
    assert str(raised.value) == (
        f"report {str(out)!r}: cannot write: No such file or directory; name a file in a folder that you may write to"
    )


def test_the_heavy_libraries_are_loaded_only_when_a_report_is_made() -> None:
    """A command that merely knows of reports costs neither numpy's memory nor matplotlib's."""
    code = "import sys, wanwatch.report; print(sorted({'numpy', 'matplotlib'} & sys.modules.keys()))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60)
    assert done.stdout.strip() == "[]"


def test_the_record_of_a_month_is_read_once() -> None:
    """Sixteen million samples are streamed, and not asked for again."""

    class Counting(FakeRecord):
        asked = 0

        def blocks(self, *args: object, **kwargs: object):  # type: ignore[no-untyped-def]  # noqa: ANN202 - counts
            self.asked += 1
            return super().blocks(*args, **kwargs)  # type: ignore[arg-type]

    counting = Counting(SITE, [], [PERIOD], list(record().blocks(SITE, PERIOD))[:1000])
    write_report(counting, SUBJECT, OCTOBER, now_unix_ns=PERIOD.end_unix_ns, form="json", out=Path("/dev/null"))
    assert counting.asked == 1
