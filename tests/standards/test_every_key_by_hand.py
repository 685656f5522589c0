"""The whole JSON of a generated month, key by key, against what was reckoned by hand: a new key fails until it is here.

February 2027 in UTC: 28 days, 672 hours. One line, asked once an hour: 10 ms, 20 ms on the last two days. Wednesday
the 10th, 12:00 to 13:00: an outage, from which traffic moves to the second line and back. Saturday the 20th, 00:00 to
06:00: nobody watches. Friday the 5th, 08:00: a probe is lost; Saturday the 6th, 09:00: the resolver refuses. So 666
probes were sent, 665 of them while the line was up: 616 of 10 ms, 48 of 20 ms, one without an answer.

Sources: as in `test_month_by_hand`; of the bounds of a share of speed tests scipy's beta distribution (Clopper and
Pearson, 1934). What holds for longer times, `months` and `months_credit`, is reckoned in `tests/report/test_parts.py`.
"""

from collections.abc import Iterator
from datetime import UTC, datetime
from decimal import Decimal
from fractions import Fraction
from functools import cache
from typing import Any

import pytest
from scipy.stats import beta

from tests.fakes.record import MINUTE_NS, FakeRecord, minute_block
from wanwatch.core.acceptance import PROGRAMME, About, Item, Progress, Verdict
from wanwatch.core.account.clauses import Promise
from wanwatch.core.account.credits import Step, Terms
from wanwatch.core.account.period import month_of
from wanwatch.core.account.voice import CODECS
from wanwatch.core.account.working import WorkingTime
from wanwatch.core.account.y1540 import Edition
from wanwatch.core.databudget import DataUse, Purpose, data_key
from wanwatch.core.model import (
    NS_PER_S,
    UNPINNED,
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
from wanwatch.core.ports import MARK_LOST, MARK_REFUSED
from wanwatch.core.resolving import Findings, Ledger, Sign, ledger_key
from wanwatch.report.as_json import to_json
from wanwatch.report.command import make
from wanwatch.report.subject import Contract, Subject, TargetPlan, UplinkPlan

SITE, HOUR_NS = "harbour-lane", 3600 * NS_PER_S
MONTH = month_of(2027, 2, UTC)
LINE = Series("fibre", "near", Kind.ECHO, Role.LINE)
NAMES = Series("fibre", "192.0.2.53", Kind.DNS, Role.NAMES)
PATH = Series(UNPINNED, "near", Kind.ECHO, Role.LINE)
WHOLE_S, DOWN_S, BLIND_S = 28 * 86_400, 3600, 6 * 3600
UP_S = WHOLE_S - DOWN_S - BLIND_S
PROMISES = (
    Promise(measure="availability", text="at least 99.9%", limit=Fraction("0.999"), at_least=True),
    Promise(measure="delay", text="p95 at most 15ms", limit=Fraction("0.015"), target="near", statistic="p95"),
    Promise(
        measure="speed-down", text="floor 150Mbps in 95% of tests", limit=Fraction("0.95"), at_least=True,
        statistic="floor", speed_bps=150_000_000, counts_out=frozenset({"drill"}),
    ),
)  # fmt: skip
TERMS = Terms(
    fee=Decimal("120.00"), currency="GBP",
    steps=(Step(Fraction("0.999"), Fraction("0.05")), Step(Fraction("0.995"), Fraction("0.15"))),
)  # fmt: skip
SUBJECT = Subject(
    site=SITE, timezone="UTC", working=WorkingTime(hours_min=(480, 1080)), codec="g711",
    y1540=Edition(Fraction(1, 5), 60, least=1),
    uplinks=(
        UplinkPlan(
            name="fibre", drill_every_ns=90 * 86_400 * NS_PER_S,
            targets=(TargetPlan(name="near", every_ns=HOUR_NS, timeout_ns=2 * NS_PER_S),),
            contracts=(Contract(provider="Example Fibre", reference="EX-1", promises=PROMISES, terms=TERMS),),
        ),
    ),
)  # fmt: skip
MAY_BE_EMPTY = {
    ".uplinks.months", ".uplinks.months_credit", ".uplinks.speed.apart", ".uplinks.clauses.counts_out",
    ".incidents.beside",
}  # fmt: skip
"""Empty in this month: see the docstring; one clause counts something out, and an incident's `beside` are events."""


def at(day: int, hour: int, second: int = 0) -> int:
    return (round(datetime(2027, 2, day, hour, tzinfo=UTC).timestamp()) + second) * NS_PER_S


def event(name: str, kind: EventKind, start: int, end: int | None = None, **facts: Any) -> Event:
    bounds = None if end is None else Bounds(end, end - NS_PER_S, end)
    return Event(
        id=name, site=SITE, kind=kind, start=Bounds(start, start - NS_PER_S, start), end=bounds,
        **({"uplink": "fibre"} | facts),
    )  # fmt: skip


OUTAGE = event("outage-1", EventKind.OUTAGE, at(10, 12), at(10, 13))
AWAY = event(
    "away-1", EventKind.FAILOVER, at(10, 12, 10), at(10, 12, 10), uplink=None, from_uplink="fibre", to_uplink="copper",
    interruption_s=30.0,
)  # fmt: skip
BACK = event(
    "back-1", EventKind.FAILBACK, at(10, 13, 20), at(10, 13, 20), uplink=None, from_uplink="copper", to_uplink="fibre"
)
DRILL = event("drill-1", EventKind.DRILL, at(17, 10), at(17, 10, 600), drill=True, detail={"outcome": "done"})


def minutes() -> Iterator[Any]:
    """One probe of each series at the beginning of each hour that somebody watched."""
    for start in range(MONTH.span.start_unix_ns, MONTH.span.end_unix_ns, HOUR_NS):
        if at(20, 0) <= start < at(20, 6):
            continue
        lost = start in {at(10, 12), at(5, 8)}
        rtt = MARK_LOST if lost else 20_000 if start >= at(27, 0) else 10_000
        answer = MARK_LOST if start == at(10, 12) else MARK_REFUSED if start == at(6, 9) else 12_000
        for series, word in ((LINE, rtt), (NAMES, answer), (PATH, 11_000)):
            yield minute_block(series, start // MINUTE_NS, [0], [word])


def measured() -> Iterator[Measurement]:
    """Five speed tests, one of which had company, and an acceptance test."""
    for number, mbps in enumerate((100, 200, 300, 400, 40)):
        run: dict[str, Json] = {
            "ending": "done",
            "goodput": {"bps": mbps * 1e6},
            "steady": True,
            "counts": True,
            "busy": mbps == 40,
        }
        both: dict[str, Json] = {"down": run, "up": {**run, "goodput": {"bps": 5e7}}} if number == 0 else {"down": run}
        yield Measurement(at(2, number), "fibre", MeasurementKind.SPEED, both)
    item = Item(
        about=About.DELAY, of="near", verdict=Verdict.PASS, value="", figure=0.0091, values={"statistic": "p95"}
    )
    test = Progress(started_unix_ns=at(1, 9), kept_unix_ns=at(1, 9))
    for step in PROGRAMME:
        test = test.after(step, (item,) if not test.done else (), at(1, 9))
    yield Measurement(at(1, 9), "fibre", MeasurementKind.ACCEPTANCE, test.to_json())


@cache
def told() -> dict[str, Any]:
    """The month's report as JSON values."""
    watched = [Span(MONTH.span.start_unix_ns, at(20, 0)), Span(at(20, 6), MONTH.span.end_unix_ns)]
    record = FakeRecord(SITE, [OUTAGE, AWAY, BACK, DRILL], watched, list(minutes()))
    record.measured = list(measured())
    use, ledger = DataUse(), Ledger()
    use.count("fibre", Purpose.LINE, 2_900_000)
    found = Findings(rewriting=Sign.YES, sure=True, validates=Sign.NO, differs_on=("www.example.com",))
    ledger.add({("fibre", "192.0.2.53"): found})
    record.notes |= {data_key(2027, 2): use.to_json({}), ledger_key(2027, 2): ledger.to_json()}
    return to_json(make(record, SUBJECT, MONTH, now_unix_ns=MONTH.span.end_unix_ns))


def instants(name: str, estimate: str, earliest: str) -> dict[str, str]:
    """An edge of an event: its latest is its estimate, its earliest a second before."""
    day = "2027-02-"
    return {
        name: f"{day}{estimate}.000000Z", f"{name}_earliest": f"{day}{earliest}.000000Z",
        f"{name}_latest": f"{day}{estimate}.000000Z",
    }  # fmt: skip


def as_told(one: Event, start: tuple[str, str], end: tuple[str, str]) -> dict[str, Any]:
    return {
        "id": one.id, "site": SITE, "uplink": one.uplink, "kind": one.kind.value, **instants("start", *start),
        **instants("end", *end), "domain": None, "from": one.from_uplink, "to": one.to_uplink,
        "interruption_s": one.interruption_s, "planned": False, "drill": one.drill, "detail": dict(one.detail),
    }  # fmt: skip


def entry(at_: str, before: str, edge: str, name: str) -> dict[str, str]:
    day = "2027-02-10T"
    return {
        "at": f"{day}{at_}.000000Z", "earliest": f"{day}{before}.000000Z", "latest": f"{day}{at_}.000000Z",
        "edge": edge, "event": name,
    }  # fmt: skip


TOLD_OUTAGE = as_told(OUTAGE, ("10T12:00:00", "10T11:59:59"), ("10T13:00:00", "10T12:59:59"))
TOLD_AWAY = as_told(AWAY, *[("10T12:00:10", "10T12:00:09")] * 2)
TOLD_BACK = as_told(BACK, *[("10T13:00:20", "10T13:00:19")] * 2)
AVAILABILITY = {"value": UP_S / (UP_S + DOWN_S), "low": UP_S / WHOLE_S, "high": (UP_S + BLIND_S) / WHOLE_S}
LOSS = 1 / 665


def voice() -> dict[str, Any]:
    """By G.107: random loss of the round trip; half of 20 ms, a packet and the buffer are no impairment yet."""
    codec = CODECS["g711"]
    r = 93.2062 - (95 - codec.ie) * LOSS * 100 / (LOSS * 100 + codec.bpl) - codec.ie
    mos = 1 + 0.035 * r + r * (r - 60) * (100 - r) * 7e-6
    return {"r": pytest.approx(r, abs=5e-5), "mos": pytest.approx(mos, abs=5e-5), "codec": "g711"}


def clauses() -> list[dict[str, Any]]:
    """99.85 % at best; 20 ms whatever six unobserved probes were; three of four tests, which one more would decide."""
    common = {"per": "month", "contract": "EX-1"}
    return [
        {
            "measure": "availability", "promised": "at least 99.9%", "counts_out": [], "limit": 0.999,
            **AVAILABILITY, "verdict": "breached", "samples": 665,
            "reason": "Missed even if all 6 h of unobserved time had gone well.", "needed": None,
            "evidence": ["outage-1"], **common,
        },
        {
            "measure": "delay", "promised": "p95 at most 15ms", "counts_out": [], "target": "near", "statistic": "p95",
            "limit": 0.015, "value": 0.02, "low": 0.02,
            "high": 0.02, "verdict": "breached", "samples": 665,
            "reason": "Missed even if all 6 h of unobserved time had gone well.", "needed": None, "evidence": [],
            **common,
        },
        {
            "measure": "speed-down", "promised": "floor 150Mbps in 95% of tests", "counts_out": ["drill"],
            "statistic": "floor",
            "speed_bps": 150_000_000, "limit": 0.95, "value": 0.75,
            "low": pytest.approx(beta.ppf(0.05, 3, 2)), "high": pytest.approx(beta.ppf(0.95, 4, 1)),
            "verdict": "undecided", "samples": 4, "needed": 1,
            "evidence": ["speed-fibre-down-2027-02-02T00:00:00.000000Z"],
            "reason": "3 of 4 tests that count reached 150 Mbit/s: too few to tell from chance; at least 1 more test"
            " would decide it.",
            **common,
        },
    ]  # fmt: skip


def credit(total: str, share: float, below: str, per_cent: str) -> dict[str, Any]:
    line = {"why": f"availability below {below} %", "reckoning": f"{per_cent} % of 120.00 GBP", "amount": total}
    return {"total": total, "share_of_fee": share, "lines": [line]}


def line() -> dict[str, Any]:
    """Surely 99.85 %, below 99.9 %; perhaps 98.96 %, below 99.5 %. Of 400, 300, 200 and 100 Mbit/s: NIST 7.2.6.2."""
    return {
        "name": "fibre", "observed_s": float(UP_S + DOWN_S), "unobserved_s": float(BLIND_S), "up_s": float(UP_S),
        "impaired_s": 0.0, "down_s": float(DOWN_S), "availability": AVAILABILITY, "outages": [TOLD_OUTAGE],
        "delay": {"near": {"p50_s": 0.01, "p95_s": 0.02, "p99_s": 0.02, "samples": 665}}, "loss": {"near": LOSS},
        # One step of 10 ms among 665 probes - 3 stretches - 2 pairs with a lost one; each hour's least is its all.
        "variation": {
            "near": {"pdv_p95_s": 0.0, "pdv_p99_s": 0.0, "ipdv_mean_abs_s": 0.01 / 660, "jitter_s": 0.0},
        },
        "loss_runs": {"near": {"runs": 1, "longest": 1, "mean_length": 1.0}}, "voice": {"near": voice()},
        "names": {"192.0.2.53": {"success_ratio": 664 / 665, "p95_s": 0.012}},
        "resolving": {
            "192.0.2.53": {
                "inspections": 1, "rewriting": "yes", "rewrote": 1, "sure": True, "validates": "no",
                "differed_on": {"www.example.com": 1},
            },
        },
        "speed": {
            "down": {"median_bps": 2.5e8, "p10_bps": 1e8, "tests": 4, "apart": {"busy": 1}},
            "up": {"median_bps": 5e7, "p10_bps": 5e7, "tests": 1, "apart": {}},
        },
        "clauses": clauses(),
        "credit": {
            "contracts": [
                {
                    "provider": "Example Fibre", "reference": "EX-1", "currency": "GBP",
                    "sure": credit("6.00", 0.05, "99.9", "5"), "perhaps": credit("18.00", 0.15, "99.5", "15"),
                },
            ],
        },
        "months": [], "months_credit": [],
    }  # fmt: skip


def standing(observed_s: float, whole_s: float, down_s: float) -> dict[str, Any]:
    """One outage in a time of which so much was observed."""
    up_s = observed_s - down_s
    return {
        "observed_s": observed_s, "unobserved_s": whole_s - observed_s, "down_s": down_s,
        "availability": {
            "value": up_s / observed_s, "low": up_s / whole_s, "high": (whole_s - down_s) / whole_s,
        },
        "outages": 1, "longest_s": down_s, "between_failures_s": up_s, "to_restoration_s": down_s,
    }  # fmt: skip


def accounts() -> dict[str, Any]:
    """20 working days of ten hours. Ordinary traffic was seen in 666 minutes, 200 of them in working hours."""
    whole_s, worked_s = float(WHOLE_S), 20 * 36_000.0
    line_ = {
        "always": standing(float(UP_S + DOWN_S), whole_s, 3600.0),
        "working_hours": standing(worked_s, worked_s, 3600.0),
    }  # fmt: skip
    people = {"always": standing(39_960.0, whole_s, 30.0), "working_hours": standing(12_000.0, worked_s, 30.0)}
    burn = [{"window_s": window_s, "rate": 0.0} for window_s in (300, 1800, 3600, 21_600, 259_200)]
    allowance = {
        "limit": 0.999, "allowed_s": 2419.2, "used_s": 3600.0, "left_s": -1180.8, "burn": burn, "alarm": None,
    }  # fmt: skip
    # Of 666 hours the outage's and the lost probe's lost more than a fifth.
    y1540 = {"c1": 0.2, "interval_s": 3600, "available": 664, "unavailable": 2, "availability": 664 / 666}
    return {
        "lines": {"fibre": {"states": line_, "y1540": y1540, "allowances": [allowance]}}, "site": line_,
        "people": people,
    }  # fmt: skip


def incident() -> dict[str, Any]:
    """The outage, the move away and the way back: a line was down, for 30 s nobody was served."""
    return {
        "id": "incident-outage-1", "site": SITE, **instants("start", "10T12:00:00", "10T11:59:59"),
        **instants("end", "10T13:00:20", "10T13:00:19"), "cause": "line-down",
        "signs": ["came-back", "line-down", "moved-away"], "uplinks": ["fibre", "copper"], "cut_off_s": 30.0,
        "planned": False, "drill": False,
        "timeline": [
            entry("12:00:00", "11:59:59", "began", "outage-1"), entry("12:00:10", "12:00:09", "happened", "away-1"),
            entry("13:00:00", "12:59:59", "ended", "outage-1"), entry("13:00:20", "13:00:19", "happened", "back-1"),
        ],
        "events": [TOLD_OUTAGE, TOLD_AWAY, TOLD_BACK], "beside": [],
    }  # fmt: skip


def rest() -> dict[str, Any]:
    row = {
        "name": "fibre", "availability": AVAILABILITY["value"], "low": AVAILABILITY["low"],
        "high": AVAILABILITY["high"], "down_s": 3600.0, "unobserved_s": 21_600.0, "outages": 1,
        "p95_s": {"near": 0.02}, "loss": {"near": LOSS}, "bps": {"down": 2.5e8, "up": 5e7}, "verdict": "breached",
    }  # fmt: skip
    return {
        "site": SITE,
        "period": {
            "from": "2027-02-01T00:00:00.000000Z", "to": "2027-03-01T00:00:00.000000Z", "timezone": "UTC",
            "name": "2027-02",
        },
        "switches": [TOLD_AWAY, TOLD_BACK],
        "incidents": [incident()],
        "drills": [as_told(DRILL, ("17T10:00:00", "17T09:59:59"), ("17T10:10:00", "17T10:09:59"))],
        "rehearsals": [
            {"uplink": "fibre", "every_s": 90 * 86_400.0, "last_unix_s": at(17, 10, 600) / NS_PER_S, "overdue": False}
        ],
        "beside": {
            "fibre": {
                "data_bytes": {"line": 2_900_000}, "acceptance": "2027-02-01T09:00:00.000000Z",
                "since": [{"about": "delay", "of": "near", "then": 0.0091, "now": 0.02}],
            },
        },
        "months": [{"name": "2027-02", "title": "February 2027", "running": False, "lines": [row]}],
        "verdict": "breached",
    }  # fmt: skip


@pytest.mark.parametrize("key", [*rest(), "uplinks", "accounts"])
def test_every_key_holds_what_was_reckoned(key: str) -> None:
    """To the last digit where a figure is exact; what is not expected fails, and so does what is missing."""
    truth = {**rest(), "uplinks": [line()], "accounts": accounts()}
    assert told().keys() == truth.keys()
    assert told()[key] == truth[key]


def test_nothing_is_empty_that_could_hide_a_key() -> None:
    """An empty list, or a table without a row, would let its keys go unreckoned."""
    assert {
        path for path, value in walked(told()) if value in ([], {}) and not path.endswith((".detail", ".evidence"))
    } == (MAY_BE_EMPTY)


def walked(value: object, path: str = "") -> Iterator[tuple[str, object]]:
    """Yield each value with the keys that lead to it; names of lines, targets and the like are left out."""
    yield path, value
    names = {"fibre", "near", "192.0.2.53", "www.example.com", "up", "down"}
    if isinstance(value, dict):
        for key, one in value.items():
            yield from walked(one, path if key in names else f"{path}.{key}")
    if isinstance(value, list):
        for one in value:
            yield from walked(one, path)
