"""An invented month of an invented office, whose truth is written down beside it.

October 2026 in London, 745 hours: the fibre breaks four times, works badly for an evening, and a copper line stands
behind it. For three quarters of an hour nobody watches. All figures that a report should find are in `Truth`.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from fractions import Fraction
from functools import cache

import numpy as np
import numpy.typing as npt

from tests.fakes.record import MINUTE_NS, FakeRecord, minute_block
from wanwatch.core.account.clauses import Promise
from wanwatch.core.account.period import month_of
from wanwatch.core.account.timeline import event_span
from wanwatch.core.model import NS_PER_S, Bounds, Domain, Event, EventKind, Json, Kind, Role, Series, Span
from wanwatch.core.ports import MARK_LOST, MinuteBlock, Record
from wanwatch.core.traced import TracedRoute
from wanwatch.report.month import build_period
from wanwatch.report.subject import Contract, Subject, TargetPlan, UplinkPlan
from wanwatch.report.values import MonthReport

SITE = "harbour-lane"
EVERY_S = 10


def build_month(record: Record, subject: Subject, year: int, month: int, now_unix_ns: int) -> MonthReport:
    """Account for one month of one site."""
    return build_period(record, subject, month_of(year, month, subject.zone), now_unix_ns)


def at(text: str) -> int:
    """Unix nanoseconds of `DD HH:MM:SS` in October 2026, UTC."""
    day, clock = text.split()
    shown = datetime.fromisoformat(f"2026-10-{day}T{clock}").replace(tzinfo=UTC)
    return int(shown.timestamp()) * NS_PER_S


PERIOD = Span(at("01 00:00:00") - 3600 * NS_PER_S, at("31 00:00:00") + 86_400 * NS_PER_S)
"""The month from its first midnight, an hour before UTC's, to its last, which is UTC's own."""


@dataclass(frozen=True)
class Truth:
    """What happened to the fibre, in seconds."""

    month_s: int = 745 * 3600
    down_s: int = 31 * 60 + 4 + 20 * 60 + 5 * 60 + 8
    impaired_s: int = 130 * 60
    unobserved_s: int = 47 * 60
    outages: int = 4


def bounds(instant: int, before_s: float = 0.8, after_s: float = 0.0) -> Bounds:
    """An instant between two probes."""
    return Bounds(instant, instant - round(before_s * NS_PER_S), instant + round(after_s * NS_PER_S))


def event(
    kind: EventKind,
    start: str,
    end: str | None,
    uplink: str | None = "fibre",
    *,
    domain: Domain | None = None,
    detail: dict[str, Json] | None = None,
    way: tuple[str | None, str | None] = (None, None),
    interruption_s: float | None = None,
) -> Event:
    """An event of the invented office."""
    return Event(
        id=f"{kind.value}-{uplink}-{start}",
        site=SITE,
        kind=kind,
        uplink=uplink,
        start=bounds(at(start)),
        end=None if end is None else bounds(at(end), 0.2),
        domain=domain,
        detail=detail or {},
        from_uplink=way[0],
        to_uplink=way[1],
        interruption_s=interruption_s,
    )


def rung(name: str, said: str, answered: str | None = None, silent: str | None = None) -> Json:
    """One rung of the fault ladder, as the judge stores it."""
    return {"rung": name, "said": said, "last_answered": answered, "last_silent": silent}


LADDER: list[Json] = [
    rung("interface", "answered", "2026-10-13T13:03:26.000Z"),
    rung("gateway", "answered", "2026-10-13T13:03:25.100Z"),
    rung("first-hop", "silent", "2026-10-13T13:03:19.300Z", "2026-10-13T13:03:25.300Z"),
    rung("resolver", "silent", "2026-10-13T13:03:12.000Z", "2026-10-13T13:03:22.000Z"),
    rung("far-targets", "silent", "2026-10-13T13:03:19.200Z", "2026-10-13T13:03:25.200Z"),
]

BEFORE = TracedRoute(
    at("13 12:41:07"), "192.0.2.1",
    (("10.20.0.1", 412), ("198.51.100.1", 3_918), (None, None), ("203.0.113.9", 6_044), ("192.0.2.1", 8_731)),
    reached=True,
)  # fmt: skip
DURING = TracedRoute(at("13 13:03:22"), "192.0.2.1", (("10.20.0.1", 398),))
ROUTES: dict[str, Json] = {"before": BEFORE.to_json(), "during": DURING.to_json()}
CLOCK: dict[str, Json] = {"synchronised": True, "max_error_s": 0.0042}

EVENTS = [
    event(
        EventKind.OUTAGE,
        "07 09:12:00",
        "07 09:17:00",
        domain=Domain.OUR_SIDE,
        detail={"ladder": [rung("interface", "silent", None, "2026-10-07T09:12:00.000Z")]},
    ),
    event(
        EventKind.OUTAGE,
        "13 13:03:20",
        "13 13:34:24",
        domain=Domain.ACCESS_LINE,
        detail={"ladder": list(LADDER), "routes": ROUTES, "clock": CLOCK},
    ),
    event(
        EventKind.IMPAIRMENT,
        "20 19:00:00",
        "20 21:10:00",
        domain=Domain.PROVIDER,
        detail={"loss_ratio": 0.08, "p95_s": 0.0112, "usual_s": 0.0103, "because": ["loss"]},
    ),
    event(EventKind.OUTAGE, "22 04:00:00", "22 04:00:08", domain=Domain.PROVIDER),
    event(EventKind.OUTAGE, "25 00:50:00", "25 01:10:00", domain=Domain.ACCESS_LINE, detail={"ladder": list(LADDER)}),
    event(EventKind.FAILOVER, "13 13:03:28", "13 13:03:28", None, way=("fibre", "copper"), interruption_s=8.2),
    event(EventKind.FAILBACK, "13 13:35:30", "13 13:35:30", None, way=("copper", "fibre"), interruption_s=0.4),
    event(EventKind.FAILOVER, "25 00:50:07", "25 00:50:07", None, way=("fibre", "copper"), interruption_s=7.5),
    event(EventKind.FAILBACK, "25 01:11:02", "25 01:11:02", None, way=("copper", "fibre"), interruption_s=0.3),
    event(EventKind.STUCK_FAILOVER, "07 09:12:30", "07 09:17:00", "fibre", detail={"because": "recovered"}),
]
"""In UTC: 13:03:20 was 14:03:20 on the clocks of London until the 25th."""

WATCHED = [Span(PERIOD.start_unix_ns, at("16 02:00:00")), Span(at("16 02:47:00"), PERIOD.end_unix_ns)]

PROMISES = (
    Promise(measure="availability", text="at least 99.9%", limit=Fraction("0.999"), at_least=True),
    Promise(
        measure="availability",
        text="at least 99%",
        limit=Fraction("0.99"),
        at_least=True,
        counts_out=frozenset({"our-side", "planned-work"}),
    ),
    Promise(measure="delay", text="p95 at most 15ms", limit=Fraction("0.015"), target="near", statistic="p95"),
    Promise(measure="loss", text="at most 0.1%", limit=Fraction("0.001")),
    Promise(measure="repair", text="at most 24h", limit=Fraction(86_400)),
)

TARGETS = tuple(
    TargetPlan(name=target, every_ns=EVERY_S * NS_PER_S, timeout_ns=2 * NS_PER_S) for target in ("near", "far")
)

SUBJECT = Subject(
    site=SITE,
    timezone="Europe/London",
    uplinks=(
        UplinkPlan(
            name="fibre",
            contracts=(Contract(provider="Example Fibre", reference="EX-0001", promises=PROMISES),),
            targets=TARGETS,
        ),
        UplinkPlan(name="copper", targets=TARGETS),
    ),
)

SERIES = {
    (uplink, target): Series(uplink, target, Kind.ECHO, Role.LINE)
    for uplink in ("fibre", "copper")
    for target in ("near", "far")
}
RESOLVER = Series("fibre", "192.0.2.53", Kind.DNS, Role.NAMES)
USUAL_US = {("fibre", "near"): 8_700, ("fibre", "far"): 19_400, ("copper", "near"): 33_000, ("copper", "far"): 44_500}


def blocks(every_s: int = EVERY_S, number: int = 1) -> Iterator[MinuteBlock]:
    """Minutes of every series: delays around the usual, busier in the evening; lost while down; none unwatched.

    Args:
        every_s: Interval between probes, a divisor of 60.
        number: Seed of the generator.
    """
    chance = np.random.default_rng(number)
    a_minute = 60 // every_s
    offsets = np.arange(a_minute, dtype=np.uint32) * every_s * 1_000_000
    down = [event_span(e, 0) for e in EVENTS if e.kind is EventKind.OUTAGE]
    bad = [event_span(e, 0) for e in EVENTS if e.kind is EventKind.IMPAIRMENT]
    for minute in range(PERIOD.start_unix_ns // MINUTE_NS, PERIOD.end_unix_ns // MINUTE_NS):
        sent = minute * MINUTE_NS + offsets.astype(np.int64) * 1000
        if not _any(WATCHED, sent).any():  # the gap begins and ends on whole minutes
            continue
        busy = 1.6 if 18 <= minute // 60 % 24 < 22 else 1.0
        lossy, silent = _any(bad, sent), _any(down, sent)
        for (uplink, target), series in SERIES.items():
            spread = USUAL_US[uplink, target] * 0.06 * busy
            rtts = (USUAL_US[uplink, target] + chance.exponential(spread, a_minute)).astype(np.uint32)
            if uplink == "fibre" and (lossy.any() or silent.any()):
                rtts[silent | (lossy & (chance.random(a_minute) < 0.08))] = MARK_LOST
            yield minute_block(series, minute, offsets, rtts)
        yield minute_block(RESOLVER, minute, [500], [int(12_000 + chance.integers(4_000))])


def _any(spans: list[Span], sent: npt.NDArray[np.int64]) -> npt.NDArray[np.bool_]:
    """Which of the sends lie in any of the spans."""
    first, last = int(sent[0]), int(sent[-1])
    near = [s for s in spans if s.start_unix_ns <= last and first < s.end_unix_ns]
    inside = [(s.start_unix_ns <= sent) & (sent < s.end_unix_ns) for s in near]
    return np.logical_or.reduce(inside) if inside else np.zeros(len(sent), np.bool_)


@cache
def record(every_s: int = EVERY_S) -> FakeRecord:
    """The whole month's record."""
    return FakeRecord(SITE, EVENTS, WATCHED, list(blocks(every_s)))


@cache
def reported(subject: Subject = SUBJECT, now_unix_ns: int = PERIOD.end_unix_ns) -> MonthReport:
    """The whole month's report."""
    return build_month(record(), subject, 2026, 10, now_unix_ns)
