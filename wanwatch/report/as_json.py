"""The report as JSON, for programs: the same bytes for the same report, whenever and wherever it is made.

Sources:     RFC 8259 (JSON), RFC 3339 (instants, in UTC).
Departures:  an infinite figure (a percentile that falls on unanswered probes) is null, as JSON has no infinity.
"""

import json
from collections.abc import Iterable
from fractions import Fraction

from wanwatch.core.account.credits import Credit
from wanwatch.core.account.speed_tests import Speeds
from wanwatch.core.event_json import event_to_json
from wanwatch.core.incident import incident_to_json
from wanwatch.core.instants import instant_text
from wanwatch.core.model import NS_PER_S, Event, Json
from wanwatch.report.accounts_json import accounts_to_json
from wanwatch.report.figures_json import US_PER_S, bounded, number
from wanwatch.report.grounds import reason
from wanwatch.report.pen import Pen
from wanwatch.report.values import (
    Beside,
    MonthReport,
    ResolverFindings,
    TargetFigures,
    UplinkReport,
    Variation,
)
from wanwatch.report.verdicts import ClauseResult, Owed, Part, Sum, sums


def render_json(report: MonthReport) -> str:
    """Return the report as JSON text; times in seconds, ratios in [0, 1]."""
    return json.dumps(to_json(report), ensure_ascii=False, indent=2, allow_nan=False) + "\n"


def to_json(report: MonthReport) -> dict[str, Json]:
    """Return the report as JSON values."""
    return {
        "site": report.site,
        "period": {
            "from": instant_text(report.period.start_unix_ns),
            "to": instant_text(report.period.end_unix_ns),
            "timezone": report.timezone,
            "name": report.of.name,
        },
        "uplinks": [_uplink(uplink, report.codec) for uplink in report.uplinks],
        "switches": _events(report.switches),
        "accounts": accounts_to_json(report.accounts),
        "incidents": [incident_to_json(one) for one in report.incidents],
        "drills": _events(report.drills),
        "rehearsals": [rehearsal.to_json(report.now_unix_ns) for rehearsal in report.rehearsals],
        "beside": {name: _beside(found) for name, found in report.beside.items()},
        "months": [month.to_json() for month in report.months],
        "verdict": report.verdict,
    }


def _uplink(uplink: UplinkReport, codec: str) -> Json:
    times = uplink.times
    return {
        "name": uplink.name,
        "observed_s": times.observed_ns / NS_PER_S,
        "unobserved_s": times.unobserved_ns / NS_PER_S,
        "up_s": times.up_ns / NS_PER_S,
        "impaired_s": times.impaired_ns / NS_PER_S,
        "down_s": times.down_ns / NS_PER_S,
        "availability": bounded(uplink.availability),
        "outages": _events(uplink.outages),
        "delay": {target.target: _delay(target) for target in uplink.targets},
        "loss": {target.target: number(target.loss) for target in uplink.targets},
        "variation": {target.target: _variation(target.variation) for target in uplink.targets if target.variation},
        "loss_runs": {target.target: _loss_runs(target.variation) for target in uplink.targets if target.variation},
        "voice": {target.target: _voice(target.variation, codec) for target in uplink.targets if target.variation},
        "names": {names.target: _names(names) for names in uplink.names},
        "resolving": {found.resolver: _resolving(found) for found in uplink.resolving},
        "speed": {direction: _speed(found) for direction, found in uplink.speed.items()},
        "clauses": [_clause(clause) for clause in uplink.clauses],
        "credit": _credits(uplink.credits),
        "months": [_part(part) for part in uplink.parts],
        "months_credit": [_sum(one) for one in sums(uplink.parts)],
    }


def _beside(found: Beside) -> Json:
    return {
        "data_bytes": {purpose.value: number for purpose, number in found.data.items()},
        "acceptance": None if found.tested_unix_ns is None else instant_text(found.tested_unix_ns),
        "since": [
            {"about": one.item.about.value, "of": one.item.of, "then": one.item.figure, "now": one.now}
            for one in found.since
        ],
    }


def _delay(target: TargetFigures) -> Json:
    return {
        "p50_s": number(target.p50_us, US_PER_S),
        "p95_s": number(target.p95_us, US_PER_S),
        "p99_s": number(target.p99_us, US_PER_S),
        "samples": target.samples,
    }


def _variation(found: Variation) -> Json:
    return {
        "pdv_p95_s": number(found.pdv_p95_us, US_PER_S),
        "pdv_p99_s": number(found.pdv_p99_us, US_PER_S),
        "ipdv_mean_abs_s": number(found.in_order.ipdv_us, US_PER_S),
        "jitter_s": number(found.in_order.jitter_us, US_PER_S),
    }


def _loss_runs(found: Variation) -> Json:
    runs = found.in_order.runs
    if runs is None:
        return {"runs": None, "longest": None, "mean_length": None}
    return {"runs": runs.runs, "longest": runs.longest, "mean_length": number(runs.mean_length)}


def _voice(found: Variation, codec: str) -> Json:
    if found.voice is None:
        return {"r": None, "mos": None, "codec": codec}
    return {"r": found.voice.r, "mos": found.voice.mos, "codec": codec}


def _names(names: TargetFigures) -> Json:
    return {"success_ratio": number(names.success), "p95_s": number(names.p95_us, US_PER_S)}


def _resolving(found: ResolverFindings) -> Json:
    return {
        "inspections": found.inspections,
        "rewriting": found.rewriting.value,
        "rewrote": found.rewrote,
        "sure": found.sure,
        "validates": found.validates.value if found.validates else None,
        "differed_on": dict(found.differed),
    }


def _clause(clause: ClauseResult) -> Json:
    promise = clause.promise
    named: dict[str, Json] = {"measure": promise.measure}
    if promise.target is not None:
        named["target"] = promise.target
    if promise.statistic is not None:
        named["statistic"] = promise.statistic
    if promise.speed_bps is not None:
        named["speed_bps"] = promise.speed_bps
    counts_out: list[Json] = [*sorted(promise.counts_out)]
    return {
        **named,
        "promised": promise.text,
        "counts_out": counts_out,
        "limit": number(promise.limit),
        "value": number(clause.found.value),
        "verdict": clause.ruling.verdict.value,
        "samples": clause.samples,
        "low": number(clause.found.low),
        "high": number(clause.found.high),
        "reason": reason(clause, Pen()),
        "per": promise.per.value,
        "contract": clause.contract.reference,
        "needed": clause.needed,
        "evidence": list(clause.evidence),
    }


def _speed(found: Speeds) -> Json:
    return {
        "median_bps": found.median_bps,
        "p10_bps": found.p10_bps,
        "tests": len(found.counted),
        "apart": dict(found.reasons),
    }


def _part(part: Part) -> Json:
    return {
        "month": part.name,
        "running": part.running,
        "clauses": [_clause(clause) for clause in part.clauses],
        "credit": _credits(part.credits),
    }


def _sum(one: Sum) -> Json:
    """Amounts are text: a binary fraction would not be the amount."""
    contract, terms = one.contract, one.contract.terms
    return {
        "provider": contract.provider,
        "reference": contract.reference,
        "currency": terms.currency if terms else None,
        "sure": str(one.sure),
        "perhaps": str(one.perhaps),
    }


def _credits(found: Iterable[Owed]) -> Json:
    contracts = [_owed(owed) for owed in found]
    return {"contracts": contracts} if contracts else {}


def _owed(owed: Owed) -> Json:
    contract = owed.contract
    return {
        "provider": contract.provider,
        "reference": contract.reference,
        "currency": contract.terms.currency if contract.terms else None,
        "sure": _credit(owed.sure, owed.sure_share),
        "perhaps": _credit(owed.perhaps, owed.perhaps_share),
    }


def _credit(credit: Credit, share: Fraction | None) -> Json:
    """Amounts are text: a binary fraction would not be the amount."""
    lines: list[Json] = [{"why": o.why, "reckoning": o.reckoning, "amount": str(o.amount)} for o in credit.lines]
    return {"total": str(credit.total), "share_of_fee": number(share), "lines": lines}


def _events(events: Iterable[Event]) -> list[Json]:
    return [event_to_json(event) for event in events]
