"""Every clause of a contract over a month reckoned by hand: 30 days of April 2027 in UTC, watched throughout."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime
from decimal import Decimal
from fractions import Fraction

import pytest

from tests.fakes.month import build_month
from tests.fakes.record import MINUTE_NS, FakeRecord, minute_block
from wanwatch.core.account.calendar import Per, calendar_span
from wanwatch.core.account.clauses import Because, Promise, Ruling, Verdict
from wanwatch.core.account.credits import Rate, Step, Terms
from wanwatch.core.account.working import WorkingTime
from wanwatch.core.model import (
    NS_PER_S,
    Bounds,
    Domain,
    Event,
    EventKind,
    Json,
    Kind,
    Measurement,
    MeasurementKind,
    Role,
    Series,
    Span,
)
from wanwatch.core.ports import MARK_LOST, MARK_REFUSED, MinuteBlock
from wanwatch.report.grounds import reason
from wanwatch.report.pen import Pen
from wanwatch.report.subject import Contract, DayTerms, Subject, TargetPlan, UplinkPlan
from wanwatch.report.values import UplinkReport
from wanwatch.report.verdicts import ClauseResult

SITE, HOUR_S = "harbour-lane", 3600
NEAR = Series("fibre", "near", Kind.ECHO, Role.LINE)
RESOLVER = Series("fibre", "192.0.2.53", Kind.DNS, Role.NAMES)
APRIL = calendar_span(Per.MONTH, 2027, 4, UTC)
OFFICE = WorkingTime(hours_min=(8 * 60, 18 * 60), holidays=frozenset({date(2027, 4, 5)}))


def at(text: str) -> int:
    """Unix nanoseconds of `MM-DD HH:MM` in 2027, UTC."""
    return int(datetime.fromisoformat(f"2027-{text}").replace(tzinfo=UTC).timestamp()) * NS_PER_S


def happened(kind: EventKind, start: str, end: str | None = None, **facts: object) -> Event:
    begin, over = ((at(t), at(t), at(t)) if t else None for t in (start, end))
    plain = Event(
        id=f"{kind.value}-{start}", site=SITE, kind=kind, uplink="fibre", start=Bounds(*(begin or (0, 0, 0))),
        end=Bounds(*over) if over else None,
    )  # fmt: skip
    return replace(plain, **facts)  # type: ignore[arg-type]


def outage(start: str, end: str | None, domain: Domain = Domain.ACCESS_LINE) -> Event:
    return happened(EventKind.OUTAGE, start, end, domain=domain)


EVENTS = (
    outage("04-02 16:00", "04-06 10:00"),  # a Friday to a Tuesday, with Monday a holiday
    outage("04-12 09:00", "04-12 12:00", Domain.OUR_SIDE),
    outage("04-20 02:00", "04-20 02:04"),
    happened(EventKind.FAILOVER, "04-02 16:01", "04-02 16:01", uplink=None, from_uplink="fibre", interruption_s=9.5),
    happened(EventKind.FAILBACK, "04-06 10:05", "04-06 10:05", uplink=None, to_uplink="fibre", interruption_s=99.0),
    happened(EventKind.STUCK_FAILOVER, "04-20 02:00", "04-20 02:03"),
)


def office(
    *promises: Promise,
    contracts: Sequence[Contract] = (),
    events: Sequence[Event] = EVENTS,
    unseen: Span | None = None,
    tests: Sequence[Measurement] = (),
    best_bps: int | None = None,
    now: int = APRIL.end_unix_ns,
    month: int = 4,
    more: Sequence[MinuteBlock] = (),
) -> UplinkReport:
    """The fibre's report: one probe every hour of the year so far speaks for it; *more* is whatever else was asked."""
    contracts = contracts or (Contract(provider="Example Fibre", promises=promises),)
    plan = UplinkPlan(
        name="fibre", contracts=tuple(contracts), best_bps=best_bps,
        targets=tuple(
            TargetPlan(name=name, every_ns=HOUR_S * NS_PER_S, timeout_ns=NS_PER_S) for name in ("near", "new")
        ),
    )  # fmt: skip
    subject = Subject(site=SITE, timezone="UTC", uplinks=(plan,), working=OFFICE)
    year = calendar_span(Per.YEAR, 2027, 4, UTC)
    minutes = range(year.start_unix_ns // MINUTE_NS, APRIL.end_unix_ns // MINUTE_NS, 60)
    blocks = [minute_block(NEAR, minute, [0], [9000]) for minute in minutes]
    blocks += more
    watched = (
        [year]
        if unseen is None
        else [Span(year.start_unix_ns, unseen.start_unix_ns), Span(unseen.end_unix_ns, year.end_unix_ns)]
    )
    record = FakeRecord(SITE, events, watched, blocks)
    record.measured = list(tests)
    return build_month(record, subject, 2027, month, now).uplinks[0]


def only(*promises: Promise, **how: object) -> ClauseResult:
    (clause,) = office(*promises, **how).clauses  # type: ignore[arg-type]
    return clause


REPAIR = Promise(measure="repair", text="", limit=Fraction(24 * HOUR_S))


def test_repair_is_the_longest_outage_round_the_clock_or_in_working_time() -> None:
    """Friday 16:00 to Tuesday 10:00 is 90 h; of working time it is 2 h on the Friday and 2 h on the Tuesday."""
    clause = only(REPAIR)
    assert (clause.found.value, clause.ruling.verdict) == (90 * HOUR_S, Verdict.BREACHED)
    assert clause.evidence == ("outage-04-02 16:00", "outage-04-12 09:00", "outage-04-20 02:00")
    working = only(replace(REPAIR, working=True, limit=Fraction(4 * HOUR_S)))
    assert (working.found.value, working.ruling) == (4 * HOUR_S, Ruling(Verdict.MET, Because.HOLDS_ANYWAY))


def test_an_outage_belongs_whole_to_the_month_in_which_it_began() -> None:
    """From the 30th of April, 12:00, to the 2nd of May, 12:00: 48 h, in April's report."""
    across = [outage("04-30 12:00", "05-02 12:00")]
    assert only(REPAIR, events=across, now=at("05-10 00:00")).found.value == 48 * HOUR_S
    assert only(REPAIR, events=across, now=at("05-10 00:00"), month=5).found.value == 0


def test_what_a_repair_clause_counts_out_is_not_the_provider_s() -> None:
    """With faults of the access line counted out, the three hours on our own side are the longest."""
    clause = only(replace(REPAIR, counts_out=frozenset({"access-line"})))
    assert (clause.found.value, clause.samples) == (3 * HOUR_S, 1)


def test_an_outage_that_goes_on_can_break_a_repair_clause_and_cannot_keep_it() -> None:
    """After 25 h it is missed for good; after 2 h it is open."""
    goes_on = [outage("04-10 00:00", None)]
    assert only(REPAIR, events=goes_on, now=at("04-11 01:00")).ruling.verdict is Verdict.BREACHED
    assert only(REPAIR, events=goes_on, now=at("04-10 02:00")).ruling == Ruling(
        Verdict.UNDECIDED, Because.STILL_RUNNING
    )


def test_a_gap_that_could_hide_a_long_outage_leaves_repair_undecided() -> None:
    """30 h in which nobody looked; of 20 h it would be met."""
    gap = Span(at("04-15 00:00"), at("04-16 06:00"))
    clause = only(REPAIR, events=EVENTS[1:], unseen=gap)
    assert (clause.found.value, clause.found.high) == (3 * HOUR_S, 30 * HOUR_S)
    assert clause.ruling == Ruling(Verdict.UNDECIDED, Because.COULD_TIP)
    short = Span(gap.start_unix_ns, at("04-15 20:00"))
    assert only(REPAIR, events=EVENTS[1:], unseen=short).ruling.verdict is Verdict.MET


def test_outages_are_counted_those_that_are_long_enough() -> None:
    """Three, of which two are longer than ten minutes, and one of those is our own."""
    promise = Promise(measure="outages", text="", limit=Fraction(2))
    long = replace(promise, longer_than_ns=600 * NS_PER_S)
    ours_out = replace(long, counts_out=frozenset({"our-side"}))
    found = office(promise, long, ours_out).clauses
    assert [(c.found.value, c.ruling.verdict) for c in found] == [
        (3, Verdict.BREACHED), (2, Verdict.MET), (1, Verdict.MET)
    ]  # fmt: skip
    assert found[2].evidence == ("outage-04-02 16:00",)


def test_a_failover_is_as_long_as_people_were_cut_off_or_as_traffic_was_stuck() -> None:
    """9.5 s around the switch, 180 s while none came; the way back is no failover. An unmeasured one is open."""
    promise = Promise(measure="failover", text="", limit=Fraction(30))
    clause = only(promise)
    assert (clause.found.value, clause.samples, clause.ruling.verdict) == (180, 2, Verdict.BREACHED)
    timed = only(promise, events=EVENTS[:-1])
    assert (timed.found.value, timed.ruling.verdict) == (Fraction("9.5"), Verdict.MET)
    untimed = [*EVENTS[:-1], replace(EVENTS[3], id="other", interruption_s=None)]
    assert only(promise, events=untimed).ruling == Ruling(Verdict.UNDECIDED, Because.COULD_TIP)
    none = only(promise, events=())
    assert (none.found.value, none.ruling.verdict) == (0, Verdict.MET)
    assert reason(none, Pen()).startswith("No switch away was seen.")


def test_names_are_the_share_of_questions_that_were_answered() -> None:
    """Of four questions one was refused and one lost: a half."""
    promise = Promise(measure="names", text="", limit=Fraction("0.9"), at_least=True)
    answers = enumerate([9000, 9100, MARK_REFUSED, MARK_LOST], APRIL.start_unix_ns // MINUTE_NS)
    clause = only(
        promise, more=[minute_block(RESOLVER, minute, [0], [answer]) for minute, answer in answers], events=()
    )
    assert (clause.found.value, clause.samples, clause.ruling.verdict) == (Fraction(1, 2), 4, Verdict.BREACHED)
    assert only(promise, events=()).ruling.because is Because.NOTHING_SEEN


@pytest.mark.parametrize("measure", ["delay", "loss"])
def test_a_target_that_is_new_says_nothing_of_the_time_before(measure: str) -> None:
    """Asked from the 21st on only, ten days of thirty; the line was watched throughout, to another target."""
    new = Series("fibre", "new", Kind.ECHO, Role.LINE)
    minutes = range(at("04-21 00:00") // MINUTE_NS, APRIL.end_unix_ns // MINUTE_NS, 60)
    blocks = [minute_block(new, minute, [0], [9000]) for minute in minutes]
    promise = Promise(measure=measure, text="", limit=Fraction("0.01"), target="new", statistic="p50")
    clause = only(promise, events=(), more=blocks)
    assert clause.times.unobserved_ns == 20 * 24 * HOUR_S * NS_PER_S
    assert clause.ruling == Ruling(Verdict.UNDECIDED, Because.COULD_TIP)
    assert clause.found.value == (Fraction("0.009") if measure == "delay" else 0)


def test_a_quarter_is_judged_so_far_until_it_is_over() -> None:
    """Of the 91 days of the quarter 30 have passed; January to March have nothing to do with it."""
    promise = Promise(measure="outages", text="", limit=Fraction(2), per=Per.QUARTER)
    clause = only(promise, events=[outage("03-30 00:00", "03-30 01:00"), *EVENTS[:2]], now=at("08-01 00:00"))
    assert clause.period == Span(at("04-01 00:00"), at("07-01 00:00"))
    assert (clause.found.value, clause.to_come_ns) == (2, 61 * 24 * HOUR_S * NS_PER_S)
    assert clause.ruling == Ruling(Verdict.UNDECIDED, Because.STILL_RUNNING)


def test_the_last_month_of_a_quarter_judges_all_of_it() -> None:
    """March's report: 90 days, of which one was down."""
    promise = Promise(measure="availability", text="", limit=Fraction("0.99"), at_least=True, per=Per.QUARTER)
    clause = only(promise, events=[outage("01-10 00:00", "01-11 00:00")], month=3)
    assert (clause.found.value, clause.to_come_ns) == (Fraction(89, 90), 0)
    assert clause.ruling.verdict is Verdict.BREACHED


def test_contracts_that_follow_each_other_are_judged_over_their_own_days() -> None:
    """Until the 10th the long outage is the old one's; from then on the new one has two short ones."""
    promise = Promise(measure="outages", text="", limit=Fraction(0))
    old = Contract(provider="Example Copper", ends=date(2027, 4, 10), promises=(promise,))
    new = Contract(provider="Example Fibre", starts=date(2027, 4, 11), promises=(promise,))
    fibre = office(contracts=[old, new])
    assert [(c.contract.provider, c.found.value) for c in fibre.clauses] == [
        ("Example Copper", 1),
        ("Example Fibre", 2),
    ]
    assert [c.times.period_ns // (24 * HOUR_S * NS_PER_S) for c in fibre.clauses] == [10, 20]


def speed_test(n: int, mbps: float, *, apart: str | None = None) -> Measurement:
    run: dict[str, Json] = {
        "ending": "done", "goodput": {"bps": mbps * 1e6}, "steady": True, "limited_by": apart or "line",
        "counts": apart is None,
    }  # fmt: skip
    return Measurement(at("04-10 00:00") + n * HOUR_S * NS_PER_S, "fibre", MeasurementKind.SPEED, {"down": run})


FLOOR = Promise(
    measure="speed-down", text="", limit=Fraction("0.95"), at_least=True, statistic="floor", speed_bps=450_000_000
)


def test_a_floor_is_met_once_enough_tests_reached_it() -> None:
    """0.95^59 is 4.85 %: 59 tests without a failure decide it, 58 lack one more."""
    enough = only(FLOOR, tests=[speed_test(n, 460) for n in range(59)])
    assert (enough.ruling.verdict, enough.samples, enough.found.value) == (Verdict.MET, 59, 1)
    few = only(FLOOR, tests=[speed_test(n, 460) for n in range(58)])
    assert (few.ruling, few.needed) == (Ruling(Verdict.UNDECIDED, Because.TOO_FEW_TESTS), 1)
    assert reason(few, Pen()) == (
        "58 of 58 tests that count reached 450 Mbit/s: too few to tell from chance; "
        "at least 1 more test would decide it."
    )


def test_the_tests_below_a_floor_are_the_evidence_of_its_breach() -> None:
    """Six of thirty below: as few as 24 come once in 300 times if 95 % were kept; what does not count stays apart."""
    slow = [speed_test(n, 400) for n in range(6)]
    apart = [speed_test(n, 10, apart="far-end") for n in range(30, 40)]
    fibre = office(FLOOR, tests=[*slow, *(speed_test(n, 460) for n in range(6, 30)), *apart])
    (clause,) = fibre.clauses
    assert (clause.ruling.verdict, clause.found.value, clause.samples) == (Verdict.BREACHED, Fraction(24, 30), 30)
    assert clause.evidence[0] == "speed-fibre-down-2027-04-10T00:00:00.000000Z"
    assert len(clause.evidence) == 6
    assert (len(fibre.speed["down"].counted), fibre.speed["down"].reasons) == (30, {"limited-by-far-end": 10})


def test_a_limit_above_what_the_handoff_carries_is_no_breach() -> None:
    """However many tests miss it: it is told as what it is."""
    tests = [speed_test(n, 90) for n in range(100)]
    clause = only(FLOOR, tests=tests, best_bps=94_000_000)
    assert clause.ruling == Ruling(Verdict.UNDECIDED, Because.BEYOND_HANDOFF)
    assert "handoff cannot carry 450 Mbit/s" in reason(clause, Pen())


def test_a_speed_clause_with_hours_counts_the_tests_of_those_hours() -> None:
    """One test an hour for ten days: two a day lie in 20:00 to 22:00."""
    evening = replace(FLOOR, hours_min=(20 * 60, 22 * 60))
    assert only(evening, tests=[speed_test(n, 460) for n in range(24 * 10)]).samples == 20


AVAILABLE = Promise(measure="availability", text="", limit=Fraction("0.999"), at_least=True)


def paid(**terms: object) -> Contract:
    steps = (Step(Fraction("0.999"), Fraction("0.05")), Step(Fraction("0.9"), Fraction("0.15")))
    plain = Terms(fee=Decimal("120.00"), currency="GBP", steps=steps)
    return Contract(provider="Example Fibre", promises=(AVAILABLE,), terms=replace(plain, **terms))  # type: ignore[arg-type]


def test_a_credit_is_the_step_that_availability_fell_to() -> None:
    """93 h 4 min of 720 h down are 87.07 %: below 90 %, so 15 % of 120.00."""
    (owed,) = office(contracts=[paid()]).credits
    assert (owed.sure.total, owed.perhaps.total) == (Decimal("18.00"), Decimal("18.00"))
    assert [(line.why, line.reckoning) for line in owed.sure.lines] == [
        ("availability below 90 %", "15 % of 120.00 GBP")
    ]


def test_what_was_not_observed_may_owe_more_and_surely_owes_nothing() -> None:
    """Nothing down and 80 h unseen: availability lies between 88.9 % and 100 %."""
    gap = Span(at("04-15 00:00"), at("04-18 08:00"))
    (owed,) = office(contracts=[paid()], events=(), unseen=gap).credits
    assert (owed.sure.total, owed.perhaps.total) == (Decimal(0), Decimal("18.00"))


@pytest.mark.parametrize(("after", "total"), [(0, "24.00"), (1, "0")])
def test_days_of_an_outage_are_paid_after_the_working_days_of_grace(after: int, total: str) -> None:
    """Reported on Friday 2nd, mended on Tuesday 6th, Monday a holiday: Saturday to Monday, or none after one day."""
    contract = replace(
        paid(steps=(), rates=(Rate(date.min, Decimal("8.00")),)), promises=(), days=DayTerms(after=after)
    )
    (owed,) = office(contracts=[contract]).credits
    assert owed.sure.total == Decimal(total)


def test_outages_that_the_contract_counts_out_are_not_paid_by_the_day() -> None:
    """A fault on the access line, and a contract that excuses those."""
    days = DayTerms(after=0, counts_out=frozenset({"access-line"}))
    contract = replace(paid(steps=(), rates=(Rate(date.min, Decimal("8.00")),)), promises=(), days=days)
    (owed,) = office(contracts=[contract]).credits
    assert owed.sure.total == owed.perhaps.total == Decimal(0)


def test_work_announced_within_an_outage_does_not_begin_its_days_anew() -> None:
    """Out from Tuesday 6th to Friday 16th; two working days are the provider's, the 9th to the 15th are paid.

    An hour of announced work on Monday 12th changes nothing; all of that day counted out is one day less.
    """
    days = DayTerms(after=2, counts_out=frozenset({"planned-work"}))
    contract = replace(paid(steps=(), rates=(Rate(date.min, Decimal("8.00")),)), promises=(), days=days)

    def total(end: str) -> Decimal:
        work = happened(EventKind.PLANNED_WORK, "04-12 00:00", end)
        (owed,) = office(contracts=[contract], events=[outage("04-06 10:00", "04-16 10:00"), work]).credits
        return owed.sure.total

    assert total("04-12 01:00") == Decimal("56.00")
    assert total("04-13 00:00") == Decimal("48.00")


def test_a_contract_that_ends_within_a_quarter_owes_for_it_in_its_last_month() -> None:
    """April's report is the last one that speaks of a contract that ends on the 20th: 93 h of its 20 days were down."""
    quarterly = replace(AVAILABLE, per=Per.QUARTER)
    ended = replace(paid(), promises=(quarterly,), ends=date(2027, 4, 20))
    (owed,) = office(contracts=[ended]).credits
    assert owed.sure.total == Decimal("18.00")
    (goes_on,) = office(contracts=[replace(ended, ends=date(2027, 5, 20))]).credits
    assert goes_on.sure.total == goes_on.perhaps.total == Decimal(0)


def test_a_cap_holds_both_sums() -> None:
    """Ten per cent of the fee at the most."""
    (owed,) = office(contracts=[paid(cap=Fraction(1, 10))]).credits
    assert owed.sure.total == owed.perhaps.total == Decimal("12.00")
