"""A quarter and a year by their months: the same verdicts and credits as in the months' own reports, and exact sums.

April to June 2027 in UTC, 91 days, watched throughout: a day of outage in April, an hour of one in June; by hand.
"""

import csv
import io
import json
import zipfile
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest

from tests.fakes.record import MINUTE_NS, FakeRecord, minute_block
from wanwatch.core.account.calendar import Per, calendar_span
from wanwatch.core.account.clauses import Because, Promise, Verdict
from wanwatch.core.account.credits import CreditLine, Step, Terms
from wanwatch.core.account.period import month_of, quarter_of, year_of
from wanwatch.core.model import NS_PER_S, Bounds, Event, EventKind, Kind, Role, Series, Span
from wanwatch.report.as_csv import render_csv
from wanwatch.report.as_json import render_json
from wanwatch.report.command import make
from wanwatch.report.history import history
from wanwatch.report.html import render_html
from wanwatch.report.month import build_period
from wanwatch.report.subject import Contract, Subject, TargetPlan, UplinkPlan
from wanwatch.report.values import MonthReport
from wanwatch.report.verdicts import Part

SITE, HOUR_S = "harbour-lane", 3600
NEAR = Series("fibre", "near", Kind.ECHO, Role.LINE)
YEAR = calendar_span(Per.YEAR, 2027, 4, UTC)
MONTHLY = Promise(measure="availability", text="at least 99.9%", limit=Fraction("0.999"), at_least=True)
DELAY = Promise(measure="delay", text="p95 at most 15ms", limit=Fraction("0.015"), target="near", statistic="p95")
QUARTERLY = replace(MONTHLY, text="at least 99%", limit=Fraction("0.99"), per=Per.QUARTER)
YEARLY = Promise(measure="outages", text="at most 1", limit=Fraction(1), per=Per.YEAR)
TERMS = Terms(
    fee=Decimal("120.00"), currency="GBP",
    steps=(Step(Fraction("0.999"), Fraction("0.05")), Step(Fraction("0.995"), Fraction("0.15"))),
)  # fmt: skip
CONTRACT = Contract(
    provider="Example Fibre", reference="EX-0001", promises=(MONTHLY, DELAY, QUARTERLY, YEARLY), terms=TERMS
)


def at(text: str) -> int:
    """Unix nanoseconds of `MM-DD HH:MM` in 2027, UTC."""
    return int(datetime.fromisoformat(f"2027-{text}").replace(tzinfo=UTC).timestamp()) * NS_PER_S


def outage(start: str, end: str) -> Event:
    bounds = [Bounds(at(t), at(t), at(t)) for t in (start, end)]
    return Event(id=f"outage-{start}", site=SITE, kind=EventKind.OUTAGE, uplink="fibre", start=bounds[0], end=bounds[1])


EVENTS = (outage("04-10 00:00", "04-11 00:00"), outage("06-20 12:00", "06-20 13:00"))


def subject(contract: Contract = CONTRACT) -> Subject:
    target = TargetPlan(name="near", every_ns=HOUR_S * NS_PER_S, timeout_ns=NS_PER_S)
    plan = UplinkPlan(name="fibre", contracts=(contract,), targets=(target,))
    return Subject(site=SITE, timezone="UTC", uplinks=(plan,))


def record(watched: Sequence[Span] = (YEAR,)) -> FakeRecord:
    """One probe an hour, of 9 ms."""
    minutes = range(YEAR.start_unix_ns // MINUTE_NS, YEAR.end_unix_ns // MINUTE_NS, 60)
    return FakeRecord(SITE, EVENTS, watched, [minute_block(NEAR, minute, [0], [9000]) for minute in minutes])


def quarter(now: str = "08-01 00:00", folder: Path | None = None, **how: Sequence[Span]) -> MonthReport:
    return make(record(**how), subject(), quarter_of(2027, 2, UTC), now_unix_ns=at(now), folder=folder)


def verdicts(parts: Sequence[Part]) -> list[tuple[str, str, Verdict]]:
    return [(p.name, f"{c.promise.measure} {c.promise.per}", c.ruling.verdict) for p in parts for c in p.clauses]


def test_promises_by_the_month_are_judged_month_by_month() -> None:
    """April 96.67 % and June 99.86 % miss 99.9 %; May is whole. The quarter's and the year's own stand apart."""
    (fibre,) = quarter().uplinks
    assert verdicts(fibre.parts) == [
        ("2027-04", "availability month", Verdict.BREACHED), ("2027-04", "delay month", Verdict.MET),
        ("2027-05", "availability month", Verdict.MET), ("2027-05", "delay month", Verdict.MET),
        ("2027-06", "availability month", Verdict.BREACHED), ("2027-06", "delay month", Verdict.MET),
    ]  # fmt: skip
    assert [part.clauses[0].found.value for part in fibre.parts] == [Fraction(29, 30), 1, Fraction(719, 720)]
    own = [(c.promise.measure, c.found.value, c.ruling.verdict, c.period.length_ns) for c in fibre.clauses]
    day_ns = 86_400 * NS_PER_S
    assert own == [
        ("availability", Fraction(91 * 24 - 25, 91 * 24), Verdict.BREACHED, 91 * day_ns),
        ("outages", 2, Verdict.BREACHED, 365 * day_ns),
    ]
    assert fibre.verdict is Verdict.BREACHED


def test_each_month_is_what_its_own_report_says() -> None:
    """The very same values, verdicts, grounds and credits."""
    (fibre,) = quarter().uplinks
    for part in fibre.parts:
        month = month_of(2027, int(part.name[-2:]), UTC)
        (own,) = build_period(record(), subject(), month, at("08-01 00:00")).uplinks
        assert part.clauses == own.clauses[:2]
        assert part.credits == own.credits


def test_credits_are_added_up_exactly_with_each_month_s_reckoning() -> None:
    """15 % of 120.00 for April, nothing for May, 5 % for June: 24.00 GBP."""
    made = quarter()
    (fibre,) = made.uplinks
    assert [part.credits[0].sure.lines for part in fibre.parts] == [
        (CreditLine("availability below 99.5 %", "15 % of 120.00 GBP", Decimal("18.00")),),
        (),
        (CreditLine("availability below 99.9 %", "5 % of 120.00 GBP", Decimal("6.00")),),
    ]
    told = json.loads(render_json(made))["uplinks"][0]
    assert told["months_credit"] == [
        {"provider": "Example Fibre", "reference": "EX-0001", "currency": "GBP", "sure": "24.00", "perhaps": "24.00"}
    ]
    assert told["credit"] == {}
    assert [month["credit"]["contracts"][0]["sure"]["total"] for month in told["months"]] == ["18.00", "0", "6.00"]
    page = render_html(made)
    assert "15 % of 120.00 GBP: 18.00" in page
    assert "<strong>24.00 GBP</strong>" in page
    assert "promises were broken in Apr 2027, Jun 2027" in page


def test_tables_have_months_and_credits() -> None:
    """Each verdict with its month, each line of a credit, and each month's total."""
    with zipfile.ZipFile(io.BytesIO(render_csv(quarter()))) as archive:
        read = {
            name: list(csv.DictReader(io.StringIO(archive.read(f"2027-Q2/{name}.csv").decode(), newline="")))
            for name in ("clauses", "credits")
        }
    assert [(r["month"], r["verdict"]) for r in read["clauses"] if r["measure"] == "availability"] == [
        ("", "breached"), ("2027-04", "breached"), ("2027-05", "met"), ("2027-06", "breached"),
    ]  # fmt: skip
    assert [(r["month"], r["why"], r["amount"]) for r in read["credits"] if r["bound"] == "sure"] == [
        ("2027-04", "availability below 99.5 %", "18.00"), ("2027-04", "total", "18.00"),
        ("2027-05", "total", "0"),
        ("2027-06", "availability below 99.9 %", "6.00"), ("2027-06", "total", "6.00"),
    ]  # fmt: skip
    assert {(r["provider"], r["contract"], r["currency"]) for r in read["credits"]} == {
        ("Example Fibre", "EX-0001", "GBP")
    }


def test_what_was_kept_of_the_months_is_the_same_as_what_is_reckoned(tmp_path: Path) -> None:
    """Exact fractions, grounds and amounts come back from the folder."""
    first = quarter(folder=tmp_path)
    assert (tmp_path / "2027-05.figures.json").exists()
    assert quarter(folder=tmp_path) == first
    assert first.uplinks[0].parts == quarter().uplinks[0].parts


def test_other_terms_make_the_months_be_reckoned_anew(tmp_path: Path) -> None:
    """Verdicts and credits that were kept are those of a contract; another one has others."""
    quarter(folder=tmp_path)
    dearer = replace(CONTRACT, terms=replace(TERMS, fee=Decimal("240.00")))
    made = make(
        record(), subject(dearer), quarter_of(2027, 2, UTC), now_unix_ns=at("08-01 00:00"), folder=tmp_path
    )  # fmt: skip
    assert [part.credits[0].sure.total for part in made.uplinks[0].parts] == [Decimal("36.00"), 0, Decimal("12.00")]


def test_a_month_that_nobody_watched_decides_nothing() -> None:
    """All of May is unobserved: undecided, nothing owed for sure, and perhaps the largest step."""
    (fibre,) = quarter(
        watched=[Span(YEAR.start_unix_ns, at("05-01 00:00")), Span(at("06-01 00:00"), YEAR.end_unix_ns)]
    ).uplinks
    may = fibre.parts[1]
    assert {clause.ruling.because for clause in may.clauses} == {Because.NOTHING_SEEN}
    assert (may.credits[0].sure.total, may.credits[0].perhaps.total) == (Decimal(0), Decimal("18.00"))


def test_a_quarter_that_still_runs_has_the_months_that_have_begun() -> None:
    """In the middle of May: April is over, May is told so far, June is no part yet."""
    made = quarter("05-16 00:00")
    (fibre,) = made.uplinks
    assert [(part.name, part.running) for part in fibre.parts] == [("2027-04", False), ("2027-05", True)]
    assert fibre.parts[1].clauses[0].ruling.because is Because.STILL_RUNNING
    assert fibre.parts[1].clauses[0].to_come_ns == 16 * 86_400 * NS_PER_S
    assert "so far" in render_html(made)


@pytest.mark.parametrize(("now", "told"), [("12-31 23:59", ["03", "06", "09", "12"]), ("05-16 00:00", ["03", "05"])])
def test_a_year_has_its_quarters_in_their_last_months(now: str, told: list[str]) -> None:
    """What is promised by the quarter is judged over each quarter; the running one's so far."""
    made = make(record(), subject(), year_of(2027, UTC), now_unix_ns=at(now))
    (fibre,) = made.uplinks
    assert [c.promise.per for c in fibre.clauses] == [Per.YEAR]
    of_quarters = [(p.name, c) for p in fibre.parts for c in p.clauses if c.promise.per is Per.QUARTER]
    assert [name for name, _ in of_quarters] == [f"2027-{month}" for month in told]
    assert of_quarters[1][1].found.value == Fraction(91 * 24 - 25, 91 * 24) if now > "07" else True


def test_what_a_contract_promised_by_the_quarter_is_due_in_its_last_month() -> None:
    """It ends on the 20th of May: of its 50 days one was down, 98 %, below 99 %, and no later month speaks of it."""
    ended = subject(replace(CONTRACT, promises=(QUARTERLY, MONTHLY), ends=date(2027, 5, 20)))
    (own,) = build_period(record(), ended, month_of(2027, 5, UTC), at("08-01 00:00")).uplinks
    assert own.credits[0].sure.total == Decimal("18.00")
    made = make(record(), ended, year_of(2027, UTC), now_unix_ns=at("08-01 00:00"))
    of_may = next(part for part in made.uplinks[0].parts if part.name == "2027-05")
    assert of_may.credits == own.credits
    assert verdicts([of_may])[0] == ("2027-05", "availability quarter", Verdict.BREACHED)
    assert [part.name for part in made.uplinks[0].parts if part.credits] == [f"2027-{m:02d}" for m in range(1, 6)]


def test_beside_other_months_a_longer_promise_stands_in_its_last_one() -> None:
    """April and May are over before the quarter is, and June ends it; the year's promise stands in none of them."""
    rows = history(record(), subject(), quarter("08-01 00:00"), None, at("08-01 00:00"))
    told = {row.name: [c.promise.per for line in row.lines for c in line.clauses] for row in rows[-3:]}
    month = [Per.MONTH, Per.MONTH]
    assert told == {"2027-04": month, "2027-05": month, "2027-06": [*month, Per.QUARTER]}


@pytest.mark.parametrize("number", [5, 6])
def test_what_a_month_s_own_report_keeps_is_what_later_ones_would_reckon(number: int, tmp_path: Path) -> None:
    """May, within the quarter, and June, which ends it: the very same file, with verdicts and credits."""
    later = month_of(2027, 7, UTC)
    files = []
    for of in (month_of(2027, number, UTC), quarter_of(2027, 2, UTC), later):
        folder = tmp_path / of.name
        folder.mkdir()
        made = make(record(), subject(), of, now_unix_ns=later.span.end_unix_ns, folder=folder)
        files.append((folder / f"2027-{number:02}.figures.json").read_text("utf-8"))
    assert files[0] == files[1] == files[2]
    assert made.months[-1].name == "2027-07"


def test_days_are_judged_over_all_of_them_as_before() -> None:
    """They are no time of the calendar, and have no months."""
    made = make(
        record(), subject(), replace(quarter_of(2027, 2, UTC), per=None, name="days"), now_unix_ns=at("08-01 00:00")
    )  # fmt: skip
    (fibre,) = made.uplinks
    assert fibre.parts == ()
    assert len(fibre.clauses) == 4
