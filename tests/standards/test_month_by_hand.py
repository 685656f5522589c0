"""A generated month whose every figure was reckoned by hand, to the last digit where it is exact.

February 2027 in UTC, 28 days of 86,400 s. One line, one target, a probe every ten seconds that takes 10 ms, 20 ms on
the last two days. Wednesday the 10th, 12:00 to 13:00: an outage. Saturday the 20th, 00:00 to 06:00: nobody watches.
Friday the 5th, 08:00: three probes in a row are lost.

Sources: IEC 60050-192 and ITU-T E.800 (availability, from memory); ITU-T Y.1540 (from memory); NIST/SEMATECH
e-Handbook 7.2.6.2 (percentiles); RFC 7680 (loss, from memory); RFC 5481, RFC 3393 and RFC 3550 (variation); RFC 3357
(runs of loss, from memory); ITU-T G.107 (R = 93.2062 by its default values) and G.113 (the codec's Ie and Bpl); The
Site Reliability Workbook, chapter 5 (allowance).
"""

from datetime import UTC, datetime
from fractions import Fraction
from functools import cache
from typing import Any

import pytest

from tests.fakes.record import MINUTE_NS, FakeRecord, minute_block
from wanwatch.core.account.clauses import Promise
from wanwatch.core.account.period import month_of
from wanwatch.core.account.voice import CODECS
from wanwatch.core.account.working import WorkingTime
from wanwatch.core.account.y1540 import Edition
from wanwatch.core.model import NS_PER_S, Bounds, Event, EventKind, Kind, Role, Series, Span
from wanwatch.core.ports import MARK_LOST
from wanwatch.report.as_json import to_json
from wanwatch.report.month import build_period
from wanwatch.report.subject import Contract, Subject, TargetPlan, UplinkPlan
from wanwatch.report.values import MonthReport

MONTH = month_of(2027, 2, UTC)
NEAR = Series("fibre", "near", Kind.ECHO, Role.LINE)
WHOLE_S, DOWN_S, BLIND_S = 28 * 86_400, 3600, 6 * 3600
UP_S = WHOLE_S - DOWN_S - BLIND_S
PROBES = UP_S // 10
"""In the time that the line was up: 239,400."""


def at(day: int, hour: int) -> int:
    return round(datetime(2027, 2, day, hour, tzinfo=UTC).timestamp()) * NS_PER_S


OUTAGE = Event("outage-fibre", "site", EventKind.OUTAGE, "fibre", Bounds(*[at(10, 12)] * 3), Bounds(*[at(10, 13)] * 3))
DOWN, BLIND = Span(at(10, 12), at(10, 13)), Span(at(20, 0), at(20, 6))
SUBJECT = Subject(
    site="site", timezone="UTC", working=WorkingTime(hours_min=(480, 1080)), codec="g711",
    y1540=Edition(Fraction(1, 5), 5, least=10),
    uplinks=(
        UplinkPlan(
            name="fibre", targets=(TargetPlan(name="near", every_ns=10 * NS_PER_S, timeout_ns=2 * NS_PER_S),),
            contracts=(
                Contract(
                    provider="Example Fibre", reference="EX-1",
                    promises=(
                        Promise(measure="availability", text="at least 99.9%", limit=Fraction("0.999"), at_least=True),
                    ),
                ),
            ),
        ),
    ),
)  # fmt: skip


def rtts(minute: int) -> list[int]:
    """What six probes of a minute came to, in microseconds."""
    start = minute * MINUTE_NS
    if DOWN.start_unix_ns <= start < DOWN.end_unix_ns:
        return [MARK_LOST] * 6
    lost = 3 if start == at(5, 8) else 0
    return [MARK_LOST] * lost + [20_000 if start >= at(27, 0) else 10_000] * (6 - lost)


@cache
def made() -> MonthReport:
    """The month's report."""
    offsets = [number * 10_000_000 for number in range(6)]
    minutes = [
        minute_block(NEAR, minute, offsets, rtts(minute))
        for minute in range(MONTH.span.start_unix_ns // MINUTE_NS, MONTH.span.end_unix_ns // MINUTE_NS)
        if not BLIND.start_unix_ns <= minute * MINUTE_NS < BLIND.end_unix_ns
    ]
    watched = [Span(MONTH.span.start_unix_ns, BLIND.start_unix_ns), Span(BLIND.end_unix_ns, MONTH.span.end_unix_ns)]
    record = FakeRecord("site", [OUTAGE], watched, minutes)
    return build_period(record, SUBJECT, MONTH, MONTH.span.end_unix_ns)


@pytest.fixture
def told() -> dict[str, Any]:
    """The report as JSON values, anew for each test."""
    return to_json(made())


def test_the_line_s_own_figures(told: dict[str, Any]) -> None:
    """Every field of the line but its events and clauses."""
    (line,) = told["uplinks"]
    loss = 3 / PROBES
    codec = CODECS["g711"]
    r = 93.2062 - (95 - codec.ie) * loss * 100 / (loss * 100 + codec.bpl) - codec.ie
    voice = line.pop("voice")["near"]
    assert voice["codec"] == "g711"
    assert voice["r"] == pytest.approx(r, abs=5e-5)  # as many digits as are published
    assert voice["mos"] == pytest.approx(1 + 0.035 * r + r * (r - 60) * (100 - r) * 7e-6, abs=5e-5)
    assert [event["id"] for event in line.pop("outages")] == ["outage-fibre"]
    line.pop("clauses")
    line.pop("speed")
    assert line == {
        "name": "fibre",
        "observed_s": float(UP_S + DOWN_S), "unobserved_s": float(BLIND_S),
        "up_s": float(UP_S), "impaired_s": 0.0, "down_s": float(DOWN_S),
        "availability": {
            "value": 2_394_000 / 2_397_600, "low": 2_394_000 / 2_419_200, "high": 2_415_600 / 2_419_200,
        },
        # 17,280 of 239,397 answered probes took 20 ms: ranks above 222,117 of 239,400.
        "delay": {"near": {"p50_s": 0.01, "p95_s": 0.02, "p99_s": 0.02, "samples": 239_400}},
        "loss": {"near": 3 / 239_400},
        # One step of 10 ms among 239,400 - 3 stretches - 4 pairs with a lost probe; each hour's least is its all.
        "variation": {
            "near": {"pdv_p95_s": 0.0, "pdv_p99_s": 0.0, "ipdv_mean_abs_s": 0.01 / 239_393, "jitter_s": 0.0},
        },
        "loss_runs": {"near": {"runs": 1, "longest": 3, "mean_length": 3.0}},
        "names": {}, "resolving": {}, "credit": {}, "months": [], "months_credit": [],
    }  # fmt: skip


def test_its_clause(told: dict[str, Any]) -> None:
    """99.85 % even if all unobserved time had been up: less than 99.9 %."""
    (clause,) = told["uplinks"][0]["clauses"]
    clause.pop("reason")
    assert clause == {
        "measure": "availability", "promised": "at least 99.9%", "counts_out": [], "limit": 0.999,
        "value": 2_394_000 / 2_397_600, "verdict": "breached",
        "samples": 239_400,
        "low": 2_394_000 / 2_419_200, "high": 2_415_600 / 2_419_200, "per": "month", "contract": "EX-1",
        "needed": None, "evidence": ["outage-fibre"],
    }  # fmt: skip
    assert told["verdict"] == "breached"


def test_its_accounts(told: dict[str, Any]) -> None:
    """Round the clock, in 20 working days of ten hours, by intervals, and what the promise leaves."""
    always = {
        "observed_s": 2_397_600.0, "unobserved_s": 21_600.0, "down_s": 3600.0,
        "availability": {
            "value": 2_394_000 / 2_397_600, "low": 2_394_000 / 2_419_200, "high": 2_415_600 / 2_419_200,
        },
        "outages": 1, "longest_s": 3600.0, "between_failures_s": 2_394_000.0, "to_restoration_s": 3600.0,
    }  # fmt: skip
    working = {
        "observed_s": 720_000.0, "unobserved_s": 0.0, "down_s": 3600.0,
        "availability": {"value": 0.995, "low": 0.995, "high": 0.995},
        "outages": 1, "longest_s": 3600.0, "between_failures_s": 716_400.0, "to_restoration_s": 3600.0,
    }  # fmt: skip
    both = {"always": always, "working_hours": working}
    burn = [{"window_s": window_s, "rate": 0.0} for window_s in (300, 1800, 3600, 21_600, 259_200)]
    allowance = {
        "limit": 0.999, "allowed_s": 2419.2, "used_s": 3600.0, "left_s": -1180.8, "burn": burn, "alarm": None,
    }  # fmt: skip
    # 39,960 observed minutes in intervals of five; the outage's twelve lost all, the three lost probes were 10 %.
    y1540 = {"c1": 0.2, "interval_s": 300, "available": 7980, "unavailable": 12, "availability": 7980 / 7992}
    line = {"states": both, "y1540": y1540, "allowances": [allowance]}
    assert told["accounts"] == {"lines": {"fibre": line}, "site": both, "people": None}


def test_the_rest_of_the_month(told: dict[str, Any]) -> None:
    """Its name and its edges, one incident, and nothing that did not happen."""
    assert told["period"] == {
        "from": "2027-02-01T00:00:00.000000Z", "to": "2027-03-01T00:00:00.000000Z", "timezone": "UTC",
        "name": "2027-02",
    }  # fmt: skip
    assert len(told["incidents"]) == 1
    assert told["switches"] == told["drills"] == told["months"] == []
