"""Planned work from its announcement in the record to the verdict of a contract."""

from fractions import Fraction
from pathlib import Path

from tests.fakes.clock import START_UNIX_NS, FakeClock
from tests.fakes.month import build_month
from wanwatch.core.account.clauses import Promise
from wanwatch.core.account.figures import Figure
from wanwatch.core.model import NS_PER_S, Bounds, Event, EventKind, Kind, Outcome, Role, Sample, Series, Span
from wanwatch.core.planned import announced
from wanwatch.report.html import render_html
from wanwatch.report.subject import Contract, Subject, TargetPlan, UplinkPlan
from wanwatch.report.values import MonthReport
from wanwatch.store import SqliteKeeper, SqliteRecord, announce

SITE = "harbour-lane"
MINUTE_NS = 60 * NS_PER_S
PROMISES = tuple(
    Promise(
        measure="availability",
        text="at least 90%",
        limit=Fraction("0.9"),
        at_least=True,
        hours_min=(600, 620),  # what is outside of the twenty minutes that were watched does not count
        counts_out=out,
    )
    for out in (frozenset[str](), frozenset({"planned-work"}))
)
SUBJECT = Subject(
    site=SITE,
    timezone="UTC",
    uplinks=(
        UplinkPlan(
            name="fibre",
            contracts=(Contract(provider="Example Fibre", promises=PROMISES),),
            targets=(TargetPlan(name="near", every_ns=NS_PER_S, timeout_ns=NS_PER_S),),
        ),
    ),
)


async def twenty_minutes(path: Path) -> None:
    """Keep twenty minutes of probes from 10:00, with an outage from 10:04 to 10:10."""
    clock = FakeClock()
    keeper = SqliteKeeper(path, SITE, clock, tell_trouble=print)
    keeper.open()
    near = Series("fibre", "near", Kind.ECHO, Role.LINE)
    for second in range(1201):
        lost = 240 <= second < 600
        outcome, rtt_ns = (Outcome.LOST, None) if lost else (Outcome.ANSWERED, 8_000_000)
        keeper.sample(Sample(near, clock.now_ns(), clock.now_unix_ns(), clock.now_ns(), outcome, rtt_ns))
        if second % 9 == 0 or second == 1200:
            assert await keeper.flush()
        clock.advance(1)
    start, end = (START_UNIX_NS + minute * MINUTE_NS for minute in (4, 10))
    bounds = [Bounds(t, t, t) for t in (start, end)]
    assert await keeper.event(Event("outage", SITE, EventKind.OUTAGE, "fibre", bounds[0], end=bounds[1]))
    await keeper.close()


def work(path: Path, *, told_at_minute: int) -> None:
    """Announce the first four of the outage's six minutes."""
    span = Span(START_UNIX_NS + 4 * MINUTE_NS, START_UNIX_NS + 8 * MINUTE_NS)
    now_unix_ns = START_UNIX_NS + told_at_minute * MINUTE_NS
    known = ["fibre"]
    windows = announced(
        SITE, span, "splicing", uplinks=known, known=known, now_unix_ns=now_unix_ns, afterwards=told_at_minute > 4
    )
    assert announce(path, SITE, windows) == []


def report(path: Path) -> MonthReport:
    with SqliteRecord(path) as record:
        return build_month(record, SUBJECT, 2026, 11, START_UNIX_NS + 20 * MINUTE_NS)


def figures(found: MonthReport) -> list[Figure | None]:
    return [clause.found.value for clause in found.uplinks[0].clauses]


async def test_a_contract_counts_out_the_announced_minutes_of_an_outage(tmp_path: Path) -> None:
    """Of 20 minutes 6 are down; without the 4 that were announced, 2 of 16 (ITU-T E.800)."""
    path = tmp_path / "wanwatch.sqlite"
    await twenty_minutes(path)
    assert figures(report(path)) == [Fraction(14, 20), Fraction(14, 20)]
    work(path, told_at_minute=0)
    found = report(path)
    assert figures(found) == [Fraction(14, 20), Fraction(14, 16)]
    assert [event.planned for event in found.uplinks[0].outages] == [True]
    page = render_html(found)
    assert "announced beforehand" in page
    assert "splicing" in page


async def test_what_is_announced_afterwards_stands_in_the_report_and_changes_no_figure(tmp_path: Path) -> None:
    """A provider could else excuse each outage once it is over, and an office each of its own."""
    path = tmp_path / "wanwatch.sqlite"
    await twenty_minutes(path)
    work(path, told_at_minute=12)
    found = report(path)
    assert figures(found) == [Fraction(14, 20), Fraction(14, 20)]
    assert [event.planned for event in found.uplinks[0].outages] == [False]
    assert "announced afterwards, so no contract counts it out" in render_html(found)
