"""The section on speed, and what is owed, as the page shows them."""

import json
from datetime import UTC, date
from decimal import Decimal
from fractions import Fraction

from tests.fakes.month import build_month
from tests.fakes.record import MINUTE_NS, FakeRecord, minute_block
from wanwatch.core.account.calendar import Per, calendar_span
from wanwatch.core.account.clauses import Promise
from wanwatch.core.account.credits import Rate, Step, Terms
from wanwatch.core.account.speed_tests import speeds
from wanwatch.core.model import (
    NS_PER_S,
    Bounds,
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
from wanwatch.report.as_json import render_json
from wanwatch.report.html import render_html
from wanwatch.report.pen import Pen
from wanwatch.report.speed_chart import speed_chart
from wanwatch.report.speed_page import directions
from wanwatch.report.subject import Contract, DayTerms, Subject, TargetPlan, UplinkPlan
from wanwatch.report.values import MonthReport

NAME = "<script>alert(1)</script> fibre"
APRIL = calendar_span(Per.MONTH, 2027, 4, UTC)
DAY_NS = 86_400 * NS_PER_S
AVAILABLE = Promise(measure="availability", text="at least 99.9%", limit=Fraction("0.999"), at_least=True)


def floor(kind: str, mbps: int, share: str) -> Promise:
    text = f"{kind} {mbps}Mbps"
    return Promise(
        measure="speed-down", text=text, limit=Fraction(share), at_least=True, statistic=kind, speed_bps=mbps * 10**6
    )


def one_test(n: int, mbps: float, limited_by: str = "line", **more: Json) -> Measurement:
    run: dict[str, Json] = {
        "ending": "done", "goodput": {"bps": mbps * 1e6}, "steady": True, "limited_by": limited_by,
        "counts": limited_by == "line", **more,
    }  # fmt: skip
    return Measurement(APRIL.start_unix_ns + n * 3600 * NS_PER_S, NAME, MeasurementKind.SPEED, {"down": run})


def made(terms: Terms | None = None) -> MonthReport:
    """Forty tests, of which eight are slow and five do not count; a week without service from the 10th."""
    at = [APRIL.start_unix_ns + day * DAY_NS for day in (9, 16)]
    down = Event("o", "s", EventKind.OUTAGE, NAME, Bounds(*[at[0]] * 3), end=Bounds(*[at[1]] * 3))
    contract = Contract(
        provider="Example Fibre", promises=(AVAILABLE, floor("floor", 450, "0.95"), floor("peak", 500, "0.05")),
        terms=terms, days=DayTerms(after=2),
    )  # fmt: skip
    target = TargetPlan(name="near", every_ns=NS_PER_S, timeout_ns=NS_PER_S)
    plan = UplinkPlan(name=NAME, contracts=(contract,), targets=(target,), best_bps=941_000_000)
    near = Series(NAME, "near", Kind.ECHO, Role.LINE)
    block = minute_block(near, APRIL.start_unix_ns // MINUTE_NS, [0], [9000])
    record = FakeRecord("s", [down], [APRIL], [block])
    record.measured = [
        *(one_test(n, 460 + n) for n in range(27)), *(one_test(n, 400) for n in range(27, 35)),
        *(one_test(n, 90, "far-end") for n in range(35, 38)), one_test(38, 9, busy=True), one_test(39, 9, steady=False),
    ]  # fmt: skip
    subject = Subject(site="s", timezone="UTC", uplinks=(plan,))
    return build_month(record, subject, 2027, 4, APRIL.end_unix_ns)


def test_tests_below_a_promise_are_listed_and_those_kept_apart_are_told() -> None:
    """Each with its instant and its value; a peak lists none, as most tests need not reach it."""
    report = made()
    page = render_html(report)
    (way,) = directions(report, report.uplinks[0], 1)
    assert [test.bps for test, _ in way.missed()] == [4e8] * 8
    assert list(way.apart()) == [
        "1: the line carried other traffic", "3: held up by the far end", "1: never steady"
    ]  # fmt: skip
    assert "8 tests towards the site below what is promised" in page
    assert '<a href="#speed-1-down">The tests below it</a>' in page
    assert 'id="speed-1-down"' in page
    assert "27 of 35 tests that count reached 450\N{NO-BREAK SPACE}Mbit/s" in page
    assert "77.1%" in page
    assert "<script>" not in page


def test_a_report_without_tests_has_no_section_on_speed() -> None:
    """And says nothing of what it did not measure."""
    report = made()
    assert directions(report, report.uplinks[0], 1) != []
    assert "away from the site" not in render_html(report)


def test_what_is_owed_stands_with_its_reckoning_and_among_what_to_do() -> None:
    """15 % of the fee; broken on a Saturday: Monday and Tuesday are the provider's, Wednesday to Friday paid."""
    steps = (Step(Fraction("0.999"), Fraction("0.15")),)
    terms = Terms(fee=Decimal("120.00"), currency="GBP", steps=steps, rates=(Rate(date.min, Decimal("8.00")),))
    page = render_html(made(terms))
    assert "credit of 42.00 GBP" in page  # 18.00 and three days of 8.00
    assert "availability below 99.9 %, 15 % of 120.00 GBP: 18.00" in page
    assert "days without service, 3 days of 8.00 GBP, 2027-04-14 to 2027-04-16: 24.00" in page


def test_without_a_fee_a_credit_is_told_as_a_share() -> None:
    """As a configuration without `fee` has it."""
    terms = Terms(fee=None, currency="", steps=(Step(Fraction("0.999"), Fraction("0.15")),))
    assert "15.0% of the fee" in render_html(made(terms))


def test_the_chart_leaves_out_a_ceiling_that_would_press_the_tests_together() -> None:
    """A ceiling of 941 over tests of 100 Mbit/s; nearer ones are drawn, and the same tests give the same bytes."""
    found = speeds([], "down")
    period = Span(APRIL.start_unix_ns, APRIL.end_unix_ns)
    far, near = (speed_chart(period, found, [("floor", 1e8), ("ceiling", mbps * 1e6)], Pen()) for mbps in (941, 105))
    assert ("ceiling" in far, "ceiling" in near, "floor" in far) == (False, True, True)
    assert near == speed_chart(period, found, [("floor", 1e8), ("ceiling", 105e6)], Pen())


def test_the_json_has_amounts_as_text_and_the_tests_kept_apart() -> None:
    """A binary fraction would not be the amount; what does not count has its number and reasons."""
    steps = (Step(Fraction("0.999"), Fraction("0.15")),)
    fibre = json.loads(render_json(made(Terms(fee=Decimal("120.00"), currency="GBP", steps=steps))))["uplinks"][0]
    assert fibre["speed"]["down"]["tests"] == 35
    assert fibre["speed"]["down"]["apart"] == {"busy": 1, "limited-by-far-end": 3, "not-steady": 1}
    (owed,) = fibre["credit"]["contracts"]
    assert list(owed) == ["provider", "reference", "currency", "sure", "perhaps"]
    line = {"why": "availability below 99.9 %", "reckoning": "15 % of 120.00 GBP", "amount": "18.00"}
    assert owed["sure"] == {"total": "18.00", "share_of_fee": 0.15, "lines": [line]}
    floor_ = fibre["clauses"][1]
    assert (floor_["statistic"], floor_["speed_bps"], floor_["limit"], floor_["samples"]) == (
        "floor",
        450_000_000,
        0.95,
        35,
    )
    assert (floor_["verdict"], floor_["value"], len(floor_["evidence"])) == ("breached", 27 / 35, 8)
