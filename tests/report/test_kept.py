"""Reports that are kept, and made again byte for byte."""

import csv
import io
import os
import zipfile
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest

from tests.fakes.configured import config
from tests.fakes.month import PERIOD, SITE, SUBJECT, event, record, reported
from tests.fakes.record import FakeRecord
from wanwatch.clock import wall_clock_or_epoch_ns
from wanwatch.core.account.credits import Step, Terms
from wanwatch.core.account.period import month_of
from wanwatch.core.model import NS_PER_S, EventKind
from wanwatch.report.as_csv import render_csv
from wanwatch.report.command import keep_command, make, rendered
from wanwatch.report.errors import OutputError
from wanwatch.report.kept import listed, to_send

LATER = PERIOD.end_unix_ns + 1200 * NS_PER_S
OCTOBER = month_of(2026, 10, SUBJECT.zone)


def test_what_is_missing_of_the_last_month_is_written_once(tmp_path: Path) -> None:
    """On the first of November October is over: its page and its data are written, and not again."""
    first = list(keep_command(config(tmp_path), record(), now_unix_ns=LATER))
    assert [path.name for path in first] == ["2026-10.html", "2026-10.json"]
    assert b"No contract is on file." in first[0].read_bytes()
    assert list(keep_command(config(tmp_path), record(), now_unix_ns=LATER)) == []
    first[1].unlink()
    assert [p.name for p in keep_command(config(tmp_path), record(), now_unix_ns=LATER)] == ["2026-10.json"]


def test_a_month_that_nobody_watched_has_no_report(tmp_path: Path) -> None:
    """A new site's first of the month tells of nothing."""
    empty = FakeRecord(SITE, [], [], [])
    assert list(keep_command(config(tmp_path), empty, now_unix_ns=LATER)) == []


def test_nothing_is_written_where_nothing_is_wanted(tmp_path: Path) -> None:
    """An empty list of forms."""
    assert list(keep_command(config(tmp_path, monthly=[]), record(), now_unix_ns=LATER)) == []


def test_kept_reports_are_listed_without_the_figures_beside_them(tmp_path: Path) -> None:
    """By period and form; the months' figures are this program's own."""
    for name in ("2026-10.html", "2026-09.csv.zip", "2026-09.figures.json", ".2026-11.html.new", "note.txt"):
        (tmp_path / name).write_text("x", "utf-8")
    assert [(one.name, one.path.name) for one in listed(tmp_path)] == [
        ("2026-09", "2026-09.csv.zip"), ("2026-10", "2026-10.html"),
    ]  # fmt: skip
    assert listed(tmp_path / "nowhere") == []


def test_the_form_that_is_read_best_is_sent(tmp_path: Path) -> None:
    """PDF if it is written of each month, and not HTML while the PDF is still being made; months only."""
    for name in ("2026-10.html", "2026-10.json", "2026-09.pdf", "2026-09.html", "30-days-to-2026-10-31.html"):
        (tmp_path / name).write_text("x", "utf-8")

    def names(*forms: str) -> list[str]:
        return [one.attachment.name for one in to_send(tmp_path, forms)]

    assert names("html", "pdf") == ["2026-09.pdf"]
    assert names("json", "html") == ["2026-09.html", "2026-10.html"]
    assert names() == []
    (only,) = to_send(tmp_path, ["json"])
    assert (only.month, only.attachment.media_type) == ("2026-10", "application/json")
    assert only.written_unix_ns == (tmp_path / "2026-10.json").stat().st_mtime_ns


def test_a_folder_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    """What, which value, why, what to do."""
    (tmp_path / "reports").write_text("a file", "utf-8")
    with pytest.raises(OutputError) as raised:
        list(keep_command(config(tmp_path), record(), now_unix_ns=LATER))
    assert "cannot write: File exists" in str(raised.value)


@pytest.mark.parametrize("form", ["html", "csv", "json"])
def test_a_report_is_made_again_byte_for_byte(form: str) -> None:
    """The same data and the same instant give the same bytes; so do other instants once the month is over."""
    made = [
        rendered(make(record(), SUBJECT, OCTOBER, now_unix_ns=now), form)
        for now in (LATER, LATER, LATER + 40 * 86_400 * NS_PER_S)
    ]
    assert made[0] == made[1] == made[2]


def test_the_epoch_of_the_source_stands_for_the_clock() -> None:
    """SOURCE_DATE_EPOCH (reproducible-builds.org) in whole seconds; anything else is no instant."""
    assert wall_clock_or_epoch_ns({"SOURCE_DATE_EPOCH": "1793491200"}) == 1_793_491_200 * NS_PER_S
    real = wall_clock_or_epoch_ns({})
    assert abs(wall_clock_or_epoch_ns({"SOURCE_DATE_EPOCH": "now"}) - real) < 60 * NS_PER_S
    assert "SOURCE_DATE_EPOCH" not in os.environ


def tables(data: bytes) -> dict[str, list[dict[str, str]]]:
    """The tables of an archive, by name."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return {
            name: list(csv.DictReader(io.StringIO(archive.read(name).decode(), newline="")))
            for name in archive.namelist()
        }


def test_the_csv_set_has_the_month_in_tables() -> None:
    """RFC 4180: a header, then rows; figures are those of the JSON."""
    found = tables(render_csv(reported()))
    names = ("clauses", "credits", "events", "hours", "lines", "months", "speed", "targets")
    assert sorted(found) == [f"2026-10/{name}.csv" for name in names]
    fibre = found["2026-10/lines.csv"][0]
    assert (fibre["uplink"], fibre["down_s"], fibre["outages"]) == ("fibre", "3372.0", "4")
    assert float(fibre["value"]) == 2_675_808 / 2_679_180
    assert [row["kind"] for row in found["2026-10/events.csv"]].count("outage") == 4
    assert {row["uplink"] for row in found["2026-10/targets.csv"]} == {"fibre", "copper"}
    assert len(found["2026-10/hours.csv"]) == 4 * 745
    assert found["2026-10/clauses.csv"][0]["verdict"] == "breached"


def test_what_a_cap_takes_off_is_a_number_in_the_table() -> None:
    """A minus before a figure is no formula; a clause is told as the contract has it."""
    contract = SUBJECT.uplinks[0].contracts[0]
    terms = Terms(
        fee=Decimal("120.00"), currency="GBP", steps=(Step(Fraction("0.999"), Fraction(1, 2)),), cap=Fraction(1, 4)
    )
    fibre = replace(SUBJECT.uplinks[0], contracts=(replace(contract, terms=terms),))
    found = tables(render_csv(reported(replace(SUBJECT, uplinks=(fibre,)))))
    sure = [row for row in found["2026-10/credits.csv"] if row["bound"] == "sure"]
    assert [row["amount"] for row in sure] == ["60.00", "-30.00", "30.00"]
    second = found["2026-10/clauses.csv"][1]
    assert (second["promised"], second["counts_out"]) == ("at least 99%", "our-side planned-work")


def test_no_name_becomes_a_formula() -> None:
    """A line called =1+1 is text in a spreadsheet, too (common practice, no published source)."""
    report = reported()
    told = event(EventKind.OUTAGE, "02 00:00:00", None, "=1+1")
    line = replace(report.uplinks[0], name="=1+1", outages=(told,))
    accounts = replace(report.accounts, lines={"=1+1": report.accounts.lines["fibre"]})
    found = tables(render_csv(replace(report, uplinks=(line,), accounts=accounts)))
    assert found["2026-10/lines.csv"][0]["uplink"] == "'=1+1"
    assert "'=1+1" in {row["uplink"] for row in found["2026-10/events.csv"]}
