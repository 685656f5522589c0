"""The month's account, against a truth written down beforehand and a second reckoning by other means."""

import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from fractions import Fraction
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from tests.fakes import month as office
from tests.fakes.month import (
    EVENTS,
    PERIOD,
    SERIES,
    SUBJECT,
    TARGETS,
    WATCHED,
    Truth,
    at,
    build_month,
    event,
    record,
    reported,
)
from tests.fakes.record import MINUTE_NS, FakeRecord, minute_block
from wanwatch.core.account.calendar import month_span
from wanwatch.core.account.clauses import Because, Promise, Ruling, Verdict
from wanwatch.core.account.timeline import event_span
from wanwatch.core.account.variation import LossRuns
from wanwatch.core.account.voice import CODECS, call
from wanwatch.core.model import NS_PER_S, Event, EventKind, Kind, Role, Series, Span
from wanwatch.core.ports import MARK_LATE, MARK_LOST, MARK_MALFORMED, MARK_NOT_SENT, MARK_REFUSED, MinuteBlock
from wanwatch.report.sequence import InOrder
from wanwatch.report.subject import Contract, Subject, UplinkPlan
from wanwatch.report.values import MonthReport, UplinkReport

AFTER = PERIOD.end_unix_ns
FIBRE_NEAR = SERIES["fibre", "near"]


@pytest.fixture(scope="module")
def report() -> MonthReport:
    """The whole invented month, made after its end."""
    return reported()


def small(
    rtts: Sequence[int],
    *,
    events: Sequence[Event] = (),
    promises: tuple[Promise, ...] = (),
    series: Series = FIBRE_NEAR,
    **how: bool,
) -> UplinkReport:
    """The fibre's report from one minute of samples, ten seconds apart, at noon of the 14th; all of it watched."""
    minute = at("14 12:00:00") // MINUTE_NS
    block = minute_block(series, minute, [n * 10_000_000 for n in range(len(rtts))], rtts, **how)
    contract = Contract(provider="Example Fibre", promises=promises)
    subject = replace(SUBJECT, uplinks=(UplinkPlan(name="fibre", contracts=(contract,), targets=TARGETS),))
    found = build_month(FakeRecord(office.SITE, events, [PERIOD], [block]), subject, 2026, 10, AFTER)
    return found.uplinks[0]


def test_the_states_of_the_month_are_those_of_the_story(report: MonthReport) -> None:
    """Seconds of each state as reckoned by hand, and together the 745 hours of October in London."""
    truth, times = Truth(), report.uplinks[0].times
    assert times.down_ns == truth.down_s * NS_PER_S
    assert times.impaired_ns == truth.impaired_s * NS_PER_S
    assert times.unobserved_ns == truth.unobserved_s * NS_PER_S
    assert times.period_ns == truth.month_s * NS_PER_S
    rest_s = truth.month_s - truth.down_s - truth.impaired_s - truth.unobserved_s
    assert times.up_ns == rest_s * NS_PER_S


def test_availability_and_its_bounds_are_exact_fractions(report: MonthReport) -> None:
    """Down 3372 s and unobserved 2820 s of 2682000 s."""
    found = report.uplinks[0].availability
    assert found.value == Fraction(2_682_000 - 2820 - 3372, 2_682_000 - 2820)
    assert (found.low, found.high) == (
        Fraction(2_682_000 - 2820 - 3372, 2_682_000),
        Fraction(2_682_000 - 3372, 2_682_000),
    )


def test_outages_are_counted_and_their_mean_times_follow(report: MonthReport) -> None:
    """Four outages: the mean time to restoration is a quarter of the time down."""
    fibre = report.uplinks[0]
    assert len(fibre.outages) == Truth().outages
    assert fibre.means.to_restoration_ns == Fraction(Truth().down_s * NS_PER_S, 4)
    assert [e.kind for e in fibre.others] == [EventKind.IMPAIRMENT]
    assert [e.kind for e in report.switches] == [EventKind.FAILOVER, EventKind.FAILBACK] * 2
    assert [e.kind for e in report.site_events] == [EventKind.STUCK_FAILOVER]


def test_percentiles_and_loss_agree_with_a_second_reckoning(report: MonthReport) -> None:
    """Numpy's `weibull` method is the same rule (NIST 7.2.6.2) written by others; loss is counted sample by sample."""
    down = [event_span(e, 0) for e in EVENTS if e.kind is EventKind.OUTAGE]
    delays: list[float] = []
    for block in record().blocks(office.SITE, PERIOD, [FIBRE_NEAR]):
        words = np.frombuffer(block.rtts, "<u4").tolist()
        offsets = np.frombuffer(block.offsets, "<u4").tolist()
        for offset, word in zip(offsets, words, strict=True):
            sent = block.minute * MINUTE_NS + offset * 1000
            if not any(s.start_unix_ns <= sent < s.end_unix_ns for s in down):
                delays.append(math.inf if word >= MARK_NOT_SENT else word)
    near = report.uplinks[0].targets[0]
    lost = delays.count(math.inf)
    assert near.target == "near"
    assert near.samples == len(delays) == near.asked
    assert near.loss == Fraction(lost, len(delays))
    assert near.missed == lost > 0
    expected = np.percentile(np.array(delays), [50, 95, 99], method="weibull")
    assert [float(x or 0) for x in (near.p50_us, near.p95_us, near.p99_us)] == pytest.approx(
        expected.tolist(), rel=1e-12
    )


def test_variation_runs_of_loss_and_voice_are_told_of_each_target(report: MonthReport) -> None:
    """Reckoned by hand from a delay with an exponential tail: PDV is the tail, IPDV's mean size is its mean."""
    near, copper = report.uplinks[0].targets[0], report.uplinks[1].targets[0]
    found, tail_us = near.variation, 8_700 * 0.06
    assert found is not None
    assert copper.variation is not None
    assert tail_us * 2.9 < (found.pdv_p95_us or 0) < tail_us * 4  # ln 20 = 3.0, and evenings are busier by 1.6
    assert tail_us < (found.in_order.ipdv_us or 0) < tail_us * 1.2
    assert tail_us * 0.9 < (found.in_order.jitter_us or 0) < tail_us * 1.2
    assert found.in_order.runs is not None
    assert found.in_order.runs.lost == near.missed
    assert copper.variation.in_order.runs == LossRuns(0, 0, 0)
    assert copper.variation.voice is not None
    assert copper.variation.voice.r == pytest.approx(93.2062, abs=5e-5)  # 33 ms there and back, nothing lost


def test_a_call_is_rated_by_the_loss_and_by_the_delay_of_what_was_answered() -> None:
    """ITU-T G.107: one lost of six is 16.7 % of loss; 400 ms there and back, a packet and a buffer are 260 ms."""
    found = small([400_000] * 5 + [MARK_LOST]).targets[0].variation
    assert found is not None
    assert found.voice == call(0.260, 1 / 6, CODECS["g711-plc"])
    nothing = small([MARK_LOST] * 6).targets[0].variation
    assert nothing is not None
    assert (nothing.voice, nothing.pdv_p95_us) == (None, math.inf)


@pytest.mark.parametrize(
    ("statistic", "value"),
    [("p50", "0.0003"), ("p95", "0.001"), ("mean", "0.0004"), ("max", "0.001")],
)
def test_a_clause_of_delay_variation_is_judged_by_pdv(statistic: str, value: str) -> None:
    """RFC 5481: above the least delay of the hour, 9 ms here."""
    promise = Promise(measure="delay-variation", text="", limit=Fraction("0.003"), target="near", statistic=statistic)
    clause = small([9_000, 9_200, 9_300, 9_500, 10_000], promises=(promise,)).clauses[0]
    assert clause.found.value == Fraction(value)
    assert clause.ruling == Ruling(Verdict.UNDECIDED, Because.COULD_TIP)  # but for a minute, nothing was observed
    assert clause.found.low is not None
    assert clause.found.high is not None
    assert clause.found.low <= clause.found.value < clause.found.high


def test_each_hour_of_the_charts_is_there_once(report: MonthReport) -> None:
    """745 hours; the unwatched three quarters of an hour leave their hour thinner, and none out."""
    hours = report.uplinks[1].targets[0].hours
    assert [h.start_unix_ns for h in hours] == list(range(PERIOD.start_unix_ns, PERIOD.end_unix_ns, 3600 * NS_PER_S))


def test_verdicts_follow_from_what_was_observed(report: MonthReport) -> None:
    """Breached, met with our own fault counted out, met, undecided for the gap, and no repair that took a day."""
    assert [clause.ruling for clause in report.uplinks[0].clauses] == [
        Ruling(Verdict.BREACHED, Because.FAILS_ANYWAY),
        Ruling(Verdict.MET, Because.HOLDS_ANYWAY),
        Ruling(Verdict.MET, Because.HOLDS_ANYWAY),
        Ruling(Verdict.UNDECIDED, Because.COULD_TIP),
        Ruling(Verdict.MET, Because.HOLDS_ANYWAY),
    ]
    assert report.verdict is Verdict.BREACHED
    assert report.uplinks[1].verdict is None


def test_what_a_clause_counts_out_leaves_both_sides_of_the_ratio(report: MonthReport) -> None:
    """Without the five minutes on our own side: 3072 s down of 2678880 s observed."""
    found = report.uplinks[0].clauses[1].found
    assert found.value == Fraction(2_682_000 - 300 - 2820 - 3072, 2_682_000 - 300 - 2820)


def test_a_running_month_keeps_its_future_among_the_unobserved() -> None:
    """At noon UTC of the 14th nothing is claimed of the rest, and what is undecided says so."""
    now = at("14 12:00:00")
    running = reported(SUBJECT, now)
    fibre = running.uplinks[0]
    assert running.running
    assert fibre.to_come_ns == PERIOD.end_unix_ns - now == fibre.times.unobserved_ns
    assert fibre.times.period_ns == PERIOD.length_ns
    assert fibre.clauses[0].ruling == Ruling(Verdict.UNDECIDED, Because.STILL_RUNNING)
    assert fibre.clauses[1].ruling.verdict is Verdict.UNDECIDED
    assert [e.start.estimate_unix_ns < now for e in fibre.outages] == [True, True]


def test_work_announced_for_the_rest_of_the_month_is_counted_out_before_it_begins() -> None:
    """Two hours of the 28th leave both sides of the ratio, although they have not come yet."""
    work = event(EventKind.PLANNED_WORK, "28 02:00:00", "28 04:00:00", None)
    subject = replace(SUBJECT, uplinks=SUBJECT.uplinks[:1])
    now = at("14 12:00:00")
    clauses = build_month(FakeRecord(office.SITE, [work], WATCHED, blocks_of_a_day()), subject, 2026, 10, now)
    plain, without = clauses.uplinks[0].clauses[:2]
    assert plain.times.period_ns - without.times.period_ns == 2 * 3600 * NS_PER_S


@pytest.mark.parametrize(
    ("zone", "month", "hours"),
    [
        ("Europe/London", 3, 743),
        ("Europe/London", 10, 745),
        ("America/New_York", 11, 721),
        ("Australia/Lord_Howe", 4, 720.5),
        ("Asia/Kolkata", 2, 672),
    ],
)
def test_the_states_add_up_to_the_true_length_of_every_local_month(zone: str, month: int, hours: float) -> None:
    """Half the month watched and probed, one outage of 1234.5 s in it: nothing is lost or counted twice."""
    span = month_span(2026, month, ZoneInfo(zone))
    half = Span(span.start_unix_ns, span.start_unix_ns + span.length_ns // 2)
    start = span.start_unix_ns + 777 * NS_PER_S
    told = replace(event(EventKind.OUTAGE, "01 00:00:00", "01 00:00:01"), start=office.bounds(start))
    outage = replace(told, end=office.bounds(start + 1234 * NS_PER_S + NS_PER_S // 2))
    first, last = half.start_unix_ns // MINUTE_NS, half.end_unix_ns // MINUTE_NS
    blocks = [minute_block(FIBRE_NEAR, minute, [0], [9000]) for minute in range(first, last)]
    subject = replace(SUBJECT, timezone=zone)
    found = build_month(FakeRecord(office.SITE, [outage], [half], blocks), subject, 2026, month, span.end_unix_ns)
    times = found.uplinks[0].times
    assert times.period_ns == int(hours * 3600 * NS_PER_S)
    assert times.down_ns == 1234 * NS_PER_S + NS_PER_S // 2
    assert times.observed_ns == times.unobserved_ns == span.length_ns // 2


def test_without_a_record_nothing_is_claimed() -> None:
    """An empty record: all unobserved, no ratio, nothing decided, no breach."""
    found = build_month(FakeRecord(office.SITE, [], [], []), SUBJECT, 2026, 10, AFTER)
    fibre = found.uplinks[0]
    assert fibre.times.unobserved_ns == PERIOD.length_ns
    assert fibre.availability.value is None
    assert fibre.targets == ()
    assert {clause.ruling.verdict for clause in fibre.clauses} == {Verdict.UNDECIDED}
    assert fibre.clauses[0].ruling.because is Because.NOTHING_SEEN


def test_every_outcome_is_counted_where_it_belongs() -> None:
    """Lost, late and malformed are lost (RFC 7680); refused is neither; not sent is nothing at all."""
    found = small([9000, MARK_LOST, MARK_LATE, MARK_MALFORMED, MARK_REFUSED, MARK_NOT_SENT]).targets[0]
    assert (found.asked, found.missed, found.refused, found.samples) == (4, 3, 1, 4)
    assert found.loss == Fraction(3, 4)
    assert (found.p50_us, found.hours[0].p5_us) == (math.inf, 9000)


def test_a_resolver_s_refusal_is_no_answer() -> None:
    """Of three questions one was answered, one refused with an error code, one lost."""
    series = Series("fibre", "192.0.2.53", Kind.DNS, Role.NAMES)
    found = small([9000, MARK_REFUSED, MARK_LOST], series=series).names[0]
    assert found.success == Fraction(1, 3)


def test_the_probes_that_make_an_outage_are_no_loss_of_the_line_while_it_was_up() -> None:
    """The first unanswered send, known to the nanosecond, lies in the outage; the first answered one does not."""
    start = at("14 12:00:00") + 10_000_000_999
    end = at("14 12:00:00") + 30_000_000_999
    told = event(EventKind.OUTAGE, "14 12:00:10", "14 12:00:30")
    exact = replace(told, start=office.bounds(start), end=office.bounds(end))
    found = small([9000, MARK_LOST, MARK_LOST, 9100, 9200, 9300], events=[exact]).targets[0]
    assert (found.asked, found.missed) == (4, 0)


def test_when_raw_samples_are_gone_counts_remain_and_percentiles_do_not() -> None:
    """Loss can still be told; delay cannot, and its clause says why."""
    promise = Promise(measure="delay", text="", limit=Fraction(1), target="near", statistic="p95")
    found = small([9000, 9100, MARK_LOST], promises=(promise,), keep_raw=False)
    near = found.targets[0]
    assert (near.loss, near.p95_us, near.raw_gone) == (Fraction(1, 3), None, True)
    assert near.variation is not None
    assert (near.variation.in_order, near.variation.voice) == (InOrder(None, None, None), None)
    assert found.clauses[0].ruling == Ruling(Verdict.UNDECIDED, Because.RAW_GONE)


def test_a_minute_of_counts_that_an_outage_touches_is_left_out() -> None:
    """Without the sends' own instants nobody can tell which of them belong to the outage."""
    touched = event(EventKind.OUTAGE, "14 12:00:30", "14 12:02:00")
    assert small([9000, MARK_LOST], events=[touched], keep_raw=False).targets[0].asked == 0
    beside = event(EventKind.OUTAGE, "14 12:01:00", "14 12:02:00")
    assert small([9000, MARK_LOST], events=[beside], keep_raw=False).targets[0].asked == 2


def test_mean_and_maximum_are_those_of_answered_probes() -> None:
    """9, 10 and 14 ms and one lost: 11 ms and 14 ms; what was missed could have taken its two seconds."""
    promises = tuple(
        Promise(measure="delay", text="", limit=Fraction("0.012"), target="near", statistic=how)
        for how in ("mean", "max")
    )
    mean, largest = (clause.found for clause in small([9000, 10_000, 14_000, MARK_LOST], promises=promises).clauses)
    assert (mean.value, largest.value) == (Fraction("0.011"), Fraction("0.014"))
    assert (largest.low, largest.high) == (Fraction("0.014"), 2)
    assert mean.low is not None
    assert mean.high is not None
    assert mean.low < Fraction("0.011") < mean.high < 2


def test_a_contract_counts_from_its_first_day() -> None:
    """From the 26th on the fibre was never down; the outages before are not the new contract's."""
    contract = Contract(provider="Example Fibre", starts=date(2026, 10, 26), promises=office.PROMISES[:1])
    subject = replace(SUBJECT, uplinks=(replace(SUBJECT.uplinks[0], contracts=(contract,)),))
    clause = reported(subject).uplinks[0].clauses[0]
    assert clause.found.value == 1
    assert clause.times.period_ns == 6 * 86_400 * NS_PER_S
    assert clause.ruling.verdict is Verdict.MET


def test_a_contract_that_is_over_decides_nothing() -> None:
    """Its last day was in September: this month has nothing to do with it."""
    contract = Contract(provider="Example Fibre", ends=date(2026, 9, 30), promises=office.PROMISES[:1])
    subject = replace(SUBJECT, uplinks=(replace(SUBJECT.uplinks[0], contracts=(contract,)),))
    fibre = reported(subject).uplinks[0]
    assert (fibre.clauses, fibre.contracts, fibre.verdict) == ((), (), None)


def test_a_clause_with_hours_counts_only_those() -> None:
    """The evening of the 20th, 20:00 to 22:10, was lossy: in 20:00 to 22:00 the loss is higher than all day."""
    limit = Fraction("0.001")
    whole = Promise(measure="loss", text="", limit=limit, target="near")
    evening = replace(whole, hours_min=(20 * 60, 22 * 60))
    contract = Contract(provider="Example Fibre", promises=(whole, evening))
    subject = replace(SUBJECT, uplinks=(replace(SUBJECT.uplinks[0], contracts=(contract,)),))
    all_day, evenings = reported(subject).uplinks[0].clauses
    assert evenings.times.period_ns == 31 * 2 * 3600 * NS_PER_S
    assert evenings.samples == 31 * 2 * 3600 // office.EVERY_S
    assert evenings.ruling.verdict is Verdict.BREACHED
    assert all_day.found.value is not None
    assert evenings.found.value is not None
    assert evenings.found.value > 8 * all_day.found.value


def test_a_line_that_the_configuration_forgot_keeps_its_past() -> None:
    """A line that was renamed stands in the report under its old name, without a contract."""
    subject = replace(SUBJECT, uplinks=SUBJECT.uplinks[:1])
    found = reported(subject).uplinks
    assert [(u.name, len(u.contracts)) for u in found] == [("fibre", 1), ("copper", 0)]


def test_the_office_was_cut_off_while_all_lines_were_down_at_once() -> None:
    """The fibre is down for 31 minutes; the copper for the last two of them."""
    both = [*EVENTS, event(EventKind.OUTAGE, "13 13:32:24", "13 13:40:00", "copper")]
    found = build_month(FakeRecord(office.SITE, both, WATCHED, blocks_of_a_day()), SUBJECT, 2026, 10, AFTER)
    assert found.all_down_ns == 120 * NS_PER_S


def blocks_of_a_day() -> list[MinuteBlock]:
    """The minutes of the 13th."""
    return list(record().blocks(office.SITE, Span(at("13 00:00:00"), at("14 00:00:00"))))


def test_another_site_s_record_is_not_read() -> None:
    """A store holds many sites; a report is of one."""
    stranger = Subject(site="hill-farm", timezone="UTC", uplinks=SUBJECT.uplinks)
    found = build_month(record(), stranger, 2026, 10, AFTER)
    assert found.switches == ()
    assert found.uplinks[0].times.observed_ns == 0
