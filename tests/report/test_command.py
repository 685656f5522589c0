"""The command behind `wanwatch report`: which month, where to, and what it says when it cannot."""

import json
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from tests.fakes.month import PERIOD, SITE, SUBJECT, record
from tests.fakes.record import FakeRecord
from wanwatch.core.model import NS_PER_S
from wanwatch.report import MonthError, OutputError
from wanwatch.report.command import chosen_month, write_report

EMPTY = FakeRecord(SITE, [], [], [])


def test_without_a_month_the_running_one_is_meant_by_the_site_s_clocks() -> None:
    """At 23:30 UTC on 30 September it is October in London already."""
    now = PERIOD.start_unix_ns + 1800 * NS_PER_S
    assert chosen_month(SUBJECT, None, now) == (2026, 10)
    assert chosen_month(replace(SUBJECT, timezone="UTC"), None, now) == (2026, 9)


def test_a_month_is_named_by_year_and_month() -> None:
    """As RFC 3339 writes the first part of a date."""
    assert chosen_month(SUBJECT, "2026-03", PERIOD.end_unix_ns) == (2026, 3)


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
    with pytest.raises(MonthError) as raised:
        chosen_month(SUBJECT, text, PERIOD.end_unix_ns)
    assert str(raised.value) == f"month {text!r}: {reason}; write a past month or the running one as 2026-10"


@pytest.mark.parametrize("form", ["html", "json"])
def test_a_report_is_written_to_a_file(form: str, tmp_path: Path) -> None:
    """Nothing but the report, in UTF-8."""
    out = tmp_path / f"month.{form}"
    write_report(EMPTY, SUBJECT, year=2026, month=10, now_unix_ns=PERIOD.end_unix_ns, form=form, out=out)
    text = out.read_text("utf-8")
    assert json.loads(text)["site"] == SITE if form == "json" else text.endswith("</html>\n")


def test_a_report_is_printed_as_it_is_written(tmp_path: Path) -> None:
    """By the same command; what is on the sheets is `test_pdf`'s matter (ISO 32000-1 section 7.5.2: the header)."""
    out, end_ns = tmp_path / "month.pdf", PERIOD.end_unix_ns
    write_report(EMPTY, SUBJECT, year=2026, month=10, now_unix_ns=end_ns, form="pdf", out=out, paper="Letter")
    assert out.read_bytes().startswith(b"%PDF-1.")


def test_without_a_file_it_goes_to_standard_output(capsys: pytest.CaptureFixture[str]) -> None:
    """And no progress is told where nobody looks at a terminal."""
    write_report(EMPTY, SUBJECT, year=2026, month=10, now_unix_ns=PERIOD.end_unix_ns, form="json", out=None)
    captured = capsys.readouterr()
    assert json.loads(captured.out)["uplinks"][0]["observed_s"] == 0
    assert captured.err == ""


def test_a_place_that_cannot_be_written_to_is_told(tmp_path: Path) -> None:
    """The path, the reason, the mend."""
    out = tmp_path / "missing" / "month.json"
    with pytest.raises(OutputError) as raised:
        write_report(EMPTY, SUBJECT, year=2026, month=10, now_unix_ns=PERIOD.end_unix_ns, form="json", out=out)
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
    write_report(
        counting, SUBJECT, year=2026, month=10, now_unix_ns=PERIOD.end_unix_ns, form="json", out=Path("/dev/null")
    )
    assert counting.asked == 1
