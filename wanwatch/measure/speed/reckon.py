"""From what was counted to what is told: a run's figures, and the signs of its limit. No I/O."""

from collections.abc import Sequence
from dataclasses import replace
from statistics import fmean
from typing import TypeAlias

from wanwatch.config.uplink import Handoff
from wanwatch.core.account.goodput import goodput_bps
from wanwatch.core.account.percentile import percentile
from wanwatch.core.account.responsiveness import Probes, Responsiveness, responsiveness
from wanwatch.core.account.speed import (
    Goodput,
    Limit,
    Signs,
    buffer_delay,
    goodput,
    limit,
    tcp_efficiency,
    transfer_time_ratio,
)
from wanwatch.core.account.speed_result import Delay, Run, Tcp
from wanwatch.core.model import NS_PER_S, Kind, Outcome, Sample
from wanwatch.measure.speed.job import Job, Transfer

Delays: TypeAlias = tuple[Delay | None, Delay | None]
"""Of the light probes: before, and during."""


def run_of(job: Job, transfer: Transfer, handoff: Handoff, samples: Sequence[Sample], idle: Delay | None) -> Run:
    """Return what a transfer was, with the light probes beside it.

    Args:
        job: What was run.
        transfer: What came of it.
        handoff: How the line is handed over.
        samples: All samples of the light probes.
        idle: What they saw before.
    """
    begin, marks = transfer.begin, transfer.marks
    found = None if begin is None else goodput(marks, begin)
    during = [] if begin is None else within(samples, marks[begin].at_ns, marks[-1].at_ns)
    loaded = delay(during, Kind(idle.kind)) if idle else None
    best_bps = _best_bps(handoff, transfer)
    signs = _signs(transfer, found, handoff, best_bps, (idle, loaded))
    limited_by, sign = limit(signs) if found else (Limit.UNKNOWN, "")
    return Run(
        direction=job.direction,
        ending=transfer.ending,
        why=transfer.why,
        goodput=found,
        warm_up_s=None if begin is None else (marks[begin].at_ns - marks[0].at_ns) / NS_PER_S,
        steady=transfer.steady,
        used_bytes=transfer.used,
        ip=transfer.ip,
        tls=job.tls,
        connections=job.connections,
        best_bps=best_bps,
        transfer_time_ratio=transfer_time_ratio(best_bps, found.bps) if best_bps and found else None,
        tcp=_tcp(transfer, idle, loaded),
        idle=idle,
        loaded=loaded,
        responsiveness=_responsiveness(transfer, during),
        limited_by=limited_by,
        sign=sign,
        signs=signs,
    )


def within(samples: Sequence[Sample], start_ns: int, end_ns: int) -> list[Sample]:
    """Return the samples that were sent in a stretch of time."""
    return [sample for sample in samples if start_ns <= sample.sent_ns < end_ns]


def delay(samples: Sequence[Sample], kind: Kind) -> Delay:
    """Return what the probes of this *kind* saw."""
    sent = [sample for sample in samples if sample.series.kind is kind and sample.outcome is not Outcome.NOT_SENT]
    answers = sorted(rtt_s for sample in sent if (rtt_s := _rtt_s(sample)) is not None)
    return Delay(
        kind=kind.value, sent=len(sent), lost=len(sent) - len(answers), least_s=min(answers, default=None),
        mean_s=fmean(answers) if answers else None, median_s=percentile(answers, 0.5), high_s=percentile(answers, 0.95),
    )  # fmt: skip


def best_kind(samples: Sequence[Sample]) -> Kind | None:
    """Return the lightest kind of probe that was answered; None where none was."""
    answered = {sample.series.kind for sample in samples if _rtt_s(sample) is not None}
    return next((kind for kind in (Kind.STAMP, Kind.HTTP, Kind.TCP) if kind in answered), None)


def _rtt_s(sample: Sample) -> float | None:
    # A fetch is several steps; its delay is that of the first, which is one round trip, as that of a TCP probe is.
    if sample.series.kind is Kind.HTTP:
        return _step_s(sample, "connect_ns")
    if sample.outcome is not Outcome.ANSWERED or sample.rtt_ns is None:  # a refusal may come from nearer
        return None
    return sample.rtt_ns / NS_PER_S


def _step_s(sample: Sample, step: str) -> float | None:
    took_ns = (sample.facts or {}).get(step)
    return took_ns / NS_PER_S if isinstance(took_ns, int) else None


def _steps_s(samples: Sequence[Sample], step: str) -> list[float]:
    return [took_s for sample in samples if (took_s := _step_s(sample, step)) is not None]


def _best_bps(handoff: Handoff, transfer: Transfer) -> float | None:
    if handoff.link_mbps is None:
        return None
    framing = replace(handoff.framing, ip=transfer.ip or 4, timestamps=transfer.timestamps)
    return float(goodput_bps(handoff.link_mbps * 10**6, framing))


def _signs(
    transfer: Transfer, found: Goodput | None, handoff: Handoff, best_bps: float | None, delays: Delays
) -> Signs:
    counted, (idle, loaded) = transfer.counted, delays
    if counted is None or found is None:
        return Signs()
    handoff_bps = (handoff.link_mbps or 0) * 10**6
    lost = _ratio(counted.out_of_order, counted.segments)
    windowed = _ratio(found.bps, counted.window_bps)
    return Signs(
        waiting=counted.waiting,
        processor=counted.processor,
        interrupts=counted.interrupts,
        port=counted.port,
        port_is_handoff=bool(counted.port_bps and handoff_bps and counted.port_bps >= handoff_bps),
        handoff=_ratio(found.bps, best_bps),
        idle_s=idle.median_s if idle else None,
        loaded_s=loaded.median_s if loaded else None,
        least_s=transfer.least_rtt_s if transfer.rtts_s else None,
        mean_s=fmean(transfer.rtts_s) if transfer.rtts_s else None,
        lost=_ratio(counted.retransmitted, counted.sent) if lost is None else lost,
        window=counted.windowed if windowed is None else windowed,
    )


def _tcp(transfer: Transfer, idle: Delay | None, loaded: Delay | None) -> Tcp:
    """Tell what TCP knows: of what we send it has the round trips, of what we receive the light probes stand in."""
    counted = transfer.counted
    least_s, mean_s = idle.least_s if idle else None, loaded.mean_s if loaded else None
    if transfer.rtts_s:
        least_s, mean_s = transfer.least_rtt_s, fmean(transfer.rtts_s)
    sent, again = (counted.sent, counted.retransmitted) if counted else (None, None)
    if transfer.far is not None:
        sent, again = transfer.far
    return Tcp(
        efficiency=None if sent is None or again is None else tcp_efficiency(sent, again),
        least_rtt_s=least_s,
        mean_rtt_s=mean_s,
        buffer_delay=buffer_delay(least_s, mean_s) if least_s and mean_s else None,
        mss=transfer.mss,
        timestamps=transfer.timestamps,
    )


def _responsiveness(transfer: Transfer, samples: Sequence[Sample]) -> Responsiveness | None:
    fetches = [sample for sample in samples if sample.series.kind is Kind.HTTP]
    steps = {step: _steps_s(fetches, f"{step}_ns") for step in ("connect", "tls", "first_byte")}
    if not steps["first_byte"]:
        return None
    probes = Probes(
        tcp_s=steps["connect"], tls_s=steps["tls"] or None, http_s=steps["first_byte"], loaded_s=transfer.rtts_s
    )
    return responsiveness(probes)


def _ratio(part: float | None, whole: float | None) -> float | None:
    return part / whole if part is not None and whole else None
