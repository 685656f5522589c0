"""Truth and conclusion side by side: did the daemon tell what the story did, all of it, and nothing else?"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from wanwatch.core.model import NS_PER_S, Bounds, Event, EventKind
from wanwatch.demo.story import Truth

_NS_PER_MS: Final = 1_000_000

# The truth has to lie within the event's own bounds; a busy machine may send a probe this much after its time.
SLACK_MS: Final = 100.0
# A cut is seen by a probe each pulse, an impairment only by a window's worth of them.
IMPAIRMENT_SLACK_MS: Final = 9_000.0
INTERRUPTION_SLACK_S: Final = 0.25

ABOUT_US: Final = frozenset({EventKind.UNOBSERVED, EventKind.CLOCK_STEP})
"""What a daemon may tell at any time: it speaks of itself and of this machine's clock, not of the lines."""


@dataclass(frozen=True, slots=True)
class Row:
    """One truth and the event that tells it.

    Attributes:
        kind: What happened, or what was told and did not happen.
        uplink: To which line; None for a switch.
        start_error_ms: Estimated start minus the true one; None without an event.
        end_error_ms: Likewise for the end; None where the event has not ended.
        cut_off_s: For switches: how long ordinary traffic really got no answer.
        told_cut_off_s: For switches: how long it was told to.
        fault: What does not agree; empty where all does.
    """

    kind: EventKind
    uplink: str | None
    start_error_ms: float | None = None
    end_error_ms: float | None = None
    cut_off_s: float | None = None
    told_cut_off_s: float | None = None
    fault: str = ""


def compare(truths: Sequence[Truth], instants: Mapping[str, int], events: Iterable[Event]) -> list[Row]:
    """Set each truth against the event that tells it; events that tell of nothing true come last.

    Args:
        truths: What really happened.
        instants: When each step of the story really happened (Unix nanoseconds), by name.
        events: What the daemon told of that time.
    """
    # What may have begun before is the rest of an earlier performance, perhaps one that was stopped in its middle.
    began_unix_ns = min(instants.values())
    ours = [event for event in events if event.start.earliest_unix_ns >= began_unix_ns]
    left = [event for event in ours if event.kind not in ABOUT_US]
    rows = []
    for truth in truths:
        event = _nearest(truth, instants, left)
        if event is not None:
            left.remove(event)
        rows.append(_row(truth, instants, event))
    return rows + [Row(event.kind, event.uplink, fault="told, but it did not happen") for event in left]


def _nearest(truth: Truth, instants: Mapping[str, int], events: Sequence[Event]) -> Event | None:
    fitting = [e for e in events if e.kind is truth.kind and truth.uplink in (None, e.uplink)]
    return min(fitting, key=lambda e: abs(e.start.estimate_unix_ns - instants[truth.start]), default=None)


def _row(truth: Truth, instants: Mapping[str, int], event: Event | None) -> Row:
    if event is None:
        return Row(truth.kind, truth.uplink, fault="happened, but was not told")
    slack_ms = IMPAIRMENT_SLACK_MS if truth.kind is EventKind.IMPAIRMENT else SLACK_MS
    start, end = instants[truth.start], instants[truth.end]
    cut_off_s = None if truth.cut_off is None else (end - instants[truth.cut_off]) / NS_PER_S
    faults = [
        _instant_fault("start", start, event.start, slack_ms),
        "not ended" if event.end is None else _instant_fault("end", end, event.end, slack_ms),
        _interruption_fault(cut_off_s, event.interruption_s),
        f"it did not break at {event.domain}" if event.domain in truth.not_in else "",
    ]
    return Row(
        truth.kind,
        truth.uplink,
        start_error_ms=_error_ms(start, event.start),
        end_error_ms=None if event.end is None else _error_ms(end, event.end),
        cut_off_s=cut_off_s,
        told_cut_off_s=None if cut_off_s is None else event.interruption_s,
        fault=", ".join(filter(None, faults)),
    )


def _error_ms(true_unix_ns: int, told: Bounds) -> float:
    return (told.estimate_unix_ns - true_unix_ns) / _NS_PER_MS


def _instant_fault(name: str, true_unix_ns: int, told: Bounds, slack_ms: float) -> str:
    slack_ns = slack_ms * _NS_PER_MS
    if told.earliest_unix_ns - slack_ns <= true_unix_ns <= told.latest_unix_ns + slack_ns:
        return ""
    return f"the true {name} is outside its bounds"


def _interruption_fault(true_s: float | None, told_s: float | None) -> str:
    if true_s is None:
        return ""
    if told_s is None:
        return "the interruption was not told"
    return "" if abs(told_s - true_s) <= INTERRUPTION_SLACK_S else "the interruption is off"
