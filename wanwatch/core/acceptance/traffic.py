"""Delay and loss of a line that is otherwise idle, held to their limits."""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from wanwatch.core.acceptance.items import About, Item, Verdict
from wanwatch.core.acceptance.limits import DELAY, LOSS, DelayTerm, Limit
from wanwatch.core.account.percentile import quantile
from wanwatch.core.account.proportion import Said, decide, limits
from wanwatch.core.lengths import duration
from wanwatch.core.model import NS_PER_S, Outcome, Sample

FEWEST: Final = 10
"""So many probes are the least that a delay is judged by; of fewer than 20 the 95th percentile is the largest one."""
_LOST: Final = frozenset({Outcome.LOST, Outcome.LATE, Outcome.MALFORMED})


@dataclass(frozen=True, slots=True)
class Heard:
    """What came of the probes of one target; those that could not be sent, or were refused, are in neither count.

    Attributes:
        rtts_s: Round-trip times, in order of size.
        lost: How many were not answered in time.
    """

    rtts_s: tuple[float, ...] = ()
    lost: int = 0

    @property
    def sent(self) -> int:
        """How many there were."""
        return len(self.rtts_s) + self.lost


def heard(samples: Iterable[Sample]) -> dict[str, Heard]:
    """Return what came of the probes, by target, in the order in which targets spoke first."""
    rtts: dict[str, list[float]] = {}
    lost: dict[str, int] = {}
    for sample in samples:
        target = sample.series.target
        rtts.setdefault(target, [])
        if sample.outcome is Outcome.ANSWERED and sample.rtt_ns is not None:
            rtts[target].append(sample.rtt_ns / NS_PER_S)
        elif sample.outcome in _LOST:
            lost[target] = lost.get(target, 0) + 1
    return {target: Heard(tuple(sorted(times)), lost.get(target, 0)) for target, times in rtts.items()}


def delays(found: Mapping[str, Heard], terms: Mapping[str, DelayTerm]) -> tuple[Item, ...]:
    """Say for each target whether its delay is within its term, or else within the stated default."""
    return tuple(_delay(target, one, terms.get(target, DelayTerm(limit=DELAY))) for target, one in found.items())


def _delay(target: str, found: Heard, term: DelayTerm) -> Item:
    name = "mean" if term.share is None else f"p{float(term.share * 100):g}"
    limit_s = float(term.limit.figure)
    delay_s = statistic(found, term.share)
    few = found.sent < FEWEST
    within = delay_s is not None and delay_s <= limit_s
    verdict = Verdict.PASS if within else Verdict.FAIL
    reason = ""
    if delay_s is None or few:
        verdict, reason = Verdict.NOT_DECIDED, f"Too few probes: {found.sent}, and at least {FEWEST} are needed."
    shown = "not measured" if delay_s is None else f"{name} {_ms(delay_s)}"
    least = f", least {_ms(found.rtts_s[0])}" if found.rtts_s else ""
    return Item(
        about=About.DELAY, of=target, verdict=verdict, value=f"{shown}{least}, of {found.sent} probes",
        limit=f"{name} at most {_ms(limit_s)}", source=term.limit.source, reason=reason,
        figure=None if delay_s is None or math.isinf(delay_s) else delay_s,
        values={"statistic": name, "probes": found.sent, "least_s": found.rtts_s[0] if found.rtts_s else None},
    )  # fmt: skip


def statistic(found: Heard, share: Fraction | None) -> float | None:
    """Return the mean of the answered probes, or the delay that a *share* of all did not exceed; None of none.

    An unanswered probe sorts above every other (RFC 7679): a percentile can be infinite.
    """
    if share is None:
        return sum(found.rtts_s) / len(found.rtts_s) if found.rtts_s else None
    if not found.sent:
        return None
    position = float(share) * (found.sent + 1)
    if found.lost and position > len(found.rtts_s):
        return math.inf
    return quantile(found.rtts_s, min(1.0, position / (len(found.rtts_s) + 1)))


def _ms(seconds: float) -> str:
    return "no answer" if math.isinf(seconds) else f"{seconds * 1000:.3g} ms"


def losses(found: Mapping[str, Heard], terms: Mapping[str | None, Limit], soak_s: float) -> tuple[Item, ...]:
    """Say whether what was lost is within its limits: by the contract's terms, or all targets by the stated default."""
    held = dict(terms) or {None: LOSS}
    return tuple(_loss(target, _of(found, target), limit, soak_s) for target, limit in held.items())


def _of(found: Mapping[str, Heard], target: str | None) -> tuple[int, int]:
    """Return how many of its probes were lost and how many were sent."""
    own: Sequence[Heard] = [one for name, one in found.items() if target in {None, name}]
    return sum(one.lost for one in own), sum(one.sent for one in own)


def _loss(target: str | None, count: tuple[int, int], limit: Limit, soak_s: float) -> Item:
    lost, sent = count
    verdict, reason = ruled(lost, sent, limit.figure)
    ratio = lost / sent if sent else None
    return Item(
        about=About.LOSS, of=target or "", verdict=verdict,
        value=f"{lost} of {sent} lost in {duration(soak_s)}" + ("" if ratio is None else f", {ratio:.3%}"),
        limit=f"at most {_percent(limit.figure)}",
        source=limit.source, reason=reason, figure=ratio,
        values={"lost": lost, "sent": sent, "soak_s": soak_s},
    )  # fmt: skip


def _percent(ratio: Fraction) -> str:
    return f"{float(ratio) * 100:.4g}%"


def ruled(lost: int, sent: int, most: Fraction) -> tuple[Verdict, str]:
    """Rule on so many probes lost of so many sent, where *most* is the largest share allowed; with the reason.

    Failed is what chance explains in fewer than one test of twenty of a line that keeps the limit. Passed is what keeps
    it, over so many probes that it allows one to be lost: fewer could not tell such a line from a worse one.
    """
    if not sent:
        return Verdict.NOT_DECIDED, "Nothing could be sent."
    if decide(sent - lost, sent, 1 - most) is Said.MISSED:
        return Verdict.FAIL, "More than chance explains (exact binomial test at 95 %)."
    needed = math.ceil(1 / most) if most else 0
    if sent < needed:
        return Verdict.NOT_DECIDED, f"Too few probes for this limit: at least {needed} are needed, by a longer --soak."
    if Fraction(lost, sent) > most:
        return Verdict.NOT_DECIDED, "More than the limit, and chance may explain it: a longer --soak decides."
    high = 1 - limits(sent - lost, sent).low
    return Verdict.PASS, f"The line loses at most {high:.2%}, with 95 % confidence."
