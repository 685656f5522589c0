"""Speed: from bytes and instants to goodput, and by which signs a run was limited.

Sources:     RFC 6349 sections 3.3, 4.1 and 4.2 (transfer time ratio, TCP efficiency, buffer delay); RFC 5136 section 2
             (capacity is of a path, so what our own machine limits says nothing about it).
Departures:  RFC 6349 wants a transfer in equilibrium and does not say when that is: the rule of `warm_up` is ours, and
             so are the thresholds of `RULES`, each beside its reason.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise
from typing import Final, NamedTuple

from wanwatch.core.account.percentile import quantile
from wanwatch.core.model import NS_PER_S

BIN_NS: Final = NS_PER_S // 10
"""How often bytes are counted."""
STEADY_BINS: Final = 10
STEADY_SPREAD: Final = 0.05
MOST_WARM_UP_NS: Final = 3 * NS_PER_S
_BITS: Final = 8


class Mark(NamedTuple):
    """How many payload bytes had been carried at an instant (monotonic)."""

    at_ns: int
    carried: int


class Cut(NamedTuple):
    """Where measuring begins.

    Attributes:
        begin: The mark that it begins with.
        steady: Whether the rate had become steady; False: the longest warm-up was over first.
    """

    begin: int
    steady: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Goodput:
    """What was carried in the measured time, in bits of payload a second.

    Attributes:
        bps: All bytes over all the time.
        seconds: That time.
        low_bps: 10th percentile over the bins (NIST e-Handbook 7.2.6.2).
        median_bps: Their median.
        high_bps: Their 90th percentile.
        bins: How many there were.
    """

    bps: float
    seconds: float
    low_bps: float
    median_bps: float
    high_bps: float
    bins: int


def warm_up(marks: Sequence[Mark]) -> Cut | None:
    """Say where measuring begins; None while that cannot be told yet.

    The rate is steady once the halves of a whole second differ by no more than 5 % of its mean; measuring begins at the
    end of that second, and after three seconds in any case. Slow start at least doubles each half second, so
    it never passes for steady on a path of less than half a second.
    """
    for index, mark in enumerate(marks):
        if mark.at_ns - marks[0].at_ns >= MOST_WARM_UP_NS:
            return Cut(index, _steady(marks, index))
        if _steady(marks, index):
            return Cut(index, steady=True)
    return None


def _steady(marks: Sequence[Mark], index: int) -> bool:
    if index < STEADY_BINS:
        return False
    first, middle, last = (marks[index - back] for back in (STEADY_BINS, STEADY_BINS // 2, 0))
    mean = _bps(first, last)
    return mean > 0 and abs(_bps(middle, last) - _bps(first, middle)) <= STEADY_SPREAD * mean


def goodput(marks: Sequence[Mark], begin: int = 0) -> Goodput | None:
    """Return what was carried from the mark *begin* on; None where no time went by."""
    measured = marks[begin:]
    rates = sorted(_bps(before, after) for before, after in pairwise(measured) if after.at_ns > before.at_ns)
    if not rates:
        return None
    first, last = measured[0], measured[-1]
    low, median, high = (quantile(rates, share) for share in (0.1, 0.5, 0.9))
    return Goodput(
        bps=_bps(first, last), seconds=(last.at_ns - first.at_ns) / NS_PER_S,
        low_bps=low, median_bps=median, high_bps=high, bins=len(rates),
    )  # fmt: skip


def _bps(before: Mark, after: Mark) -> float:
    passed_ns = after.at_ns - before.at_ns
    return (after.carried - before.carried) * _BITS * NS_PER_S / passed_ns if passed_ns > 0 else 0.0


def transfer_time_ratio(best_bps: float, measured_bps: float) -> float | None:
    """Return how many times longer a transfer takes than the best one possible (RFC 6349 section 4.1)."""
    return best_bps / measured_bps if measured_bps > 0 else None


def tcp_efficiency(sent: int, retransmitted: int) -> float | None:
    """Return the share of the bytes sent that did not have to be sent again (RFC 6349 section 4.2); None of none."""
    return (sent - retransmitted) / sent if sent > 0 else None


def buffer_delay(least_s: float, mean_s: float) -> float | None:
    """Return by what share of the least round-trip time the mean one under load is longer (RFC 6349 section 4.2)."""
    return (mean_s - least_s) / least_s if least_s > 0 else None


class Limit(StrEnum):
    """What held a run up."""

    LINE = "line"
    FAR_END = "far-end"
    PROCESSOR = "processor"
    INTERFACE = "interface"
    WINDOW = "window"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True, kw_only=True)
class Signs:
    """What was seen of a run's limits; None where it could not be seen. Shares are between 0 and 1.

    Attributes:
        waiting: Share of the connections' time in which none of the far end's bodies was under way.
        processor: Share of the time in which the process that moves the bytes ran, or waited to be let run.
        interrupts: Share of the time in which the busiest processor served the network for the kernel.
        port: Measured goodput, as a share of the most that this machine's own port carries.
        port_is_handoff: Whether that port is no slower than the line's handoff, so that its limit is the line's own.
        handoff: Measured goodput, as a share of the most that the handoff carries.
        idle_s: Median delay of the light probes before the run.
        loaded_s: The same during it.
        least_s: Least round-trip time of the run's own segments; None where we received.
        mean_s: The mean one.
        lost: Share of the segments that had to be sent again, or came out of order.
        window: Share of the sending time in which a window or a buffer held us up; of receiving: measured goodput as a
            share of what our windows let through.
    """

    waiting: float | None = None
    processor: float | None = None
    interrupts: float | None = None
    port: float | None = None
    port_is_handoff: bool = False
    handoff: float | None = None
    idle_s: float | None = None
    loaded_s: float | None = None
    least_s: float | None = None
    mean_s: float | None = None
    lost: float | None = None
    window: float | None = None


def _at_least(value: float | None, limit: float) -> bool:
    return value is not None and value >= limit


def _grew(before_s: float | None, after_s: float | None) -> bool:
    if before_s is None or after_s is None:
        return False
    return after_s >= before_s + max(_QUEUE_S, _QUEUE_SHARE * before_s)


_QUEUE_S: Final = 0.001
"""Ten times what a busy machine's own queues add to a probe."""
_QUEUE_SHARE: Final = 0.25

Sign = Callable[[Signs], bool]
RULES: Final[tuple[tuple[Limit, str, Sign], ...]] = (
    # A body has to end and the next be asked for: what a small file lacks says nothing of the line.
    (Limit.FAR_END, "the far end left the connections waiting for", lambda s: _at_least(s.waiting, 0.05)),
    # Above nine tenths there is no telling whether the rest would have been used.
    (Limit.PROCESSOR, "this machine's program was busy for", lambda s: _at_least(s.processor, 0.9)),
    (Limit.PROCESSOR, "a processor of this machine served the network for", lambda s: _at_least(s.interrupts, 0.9)),
    (Limit.INTERFACE, "this machine's port was full", lambda s: _at_least(s.port, 0.98) and not s.port_is_handoff),
    (Limit.LINE, "the handoff was full", lambda s: _at_least(s.handoff, 0.95)),
    # A bottleneck shows itself by what stands before it, or by what it throws away.
    (Limit.LINE, "a queue stood before the line", lambda s: _grew(s.idle_s, s.loaded_s)),
    # Where each flow has a queue of its own (RFC 8290), probes pass the one that the load stands in.
    (Limit.LINE, "the segments themselves stood in a queue", lambda s: _grew(s.least_s, s.mean_s)),
    (Limit.LINE, "the line threw segments away", lambda s: _at_least(s.lost, 0.001)),
    # Windows come after queues: one that holds a standing queue is not what limits.
    (Limit.WINDOW, "a TCP window or buffer was full for", lambda s: _at_least(s.window, 0.5)),
)  # fmt: skip
"""The first rule that holds names the limit. Nothing but a sign of the line itself makes it the line."""


def limit(signs: Signs) -> tuple[Limit, str]:
    """Return what limited a run, and by which sign that is known."""
    found = next(((what, why) for what, why, holds in RULES if holds(signs)), None)
    return found or (Limit.UNKNOWN, "nothing showed what limited it")
