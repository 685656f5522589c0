"""Values of a dossier: one outage, and every probe around it."""

from dataclasses import dataclass
from datetime import tzinfo
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np

from wanwatch.core.incident import Incident
from wanwatch.core.model import NS_PER_S, Event, Role, Series, Span
from wanwatch.core.ports import MARK_LATE, MARK_LOST, MARK_MALFORMED, MARK_NOT_SENT, MARK_REFUSED, RTT_LIMIT
from wanwatch.report.pen import Pen
from wanwatch.report.sequence import Whole, Words
from wanwatch.report.subject import Contract, UplinkPlan

AROUND_NS: Final = 300 * NS_PER_S
"""So much is shown before an outage and after it."""
OUTCOMES: Final = {
    MARK_LOST: "lost",
    MARK_LATE: "late",
    MARK_REFUSED: "refused",
    MARK_MALFORMED: "malformed",
    MARK_NOT_SENT: "not-sent",
}
_NEAREST_FIRST: Final = (Role.GATEWAY, Role.FIRST_HOP, Role.NAMES, Role.LINE, Role.EGRESS, Role.TRAFFIC)


@dataclass(frozen=True, slots=True, kw_only=True)
class Tally:
    """What became of the probes of a stretch of time.

    Attributes:
        asked: Probes that were sent.
        answered: Probes that were answered in time.
        refused: Probes that somebody refused.
        median_us: Median of the answered ones' round-trip times in microseconds; None without any.
    """

    asked: int
    answered: int
    refused: int
    median_us: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Trace:
    """One series, probe by probe.

    Attributes:
        series: Which.
        sent_us: When each probe was sent, Unix microseconds, ascending.
        words: Its round-trip time in microseconds, or its mark.
    """

    series: Series
    sent_us: Whole
    words: Words

    def tally(self, span: Span) -> Tally:
        """Count the probes that were sent within *span*."""
        inside = (self.sent_us >= span.start_unix_ns // 1000) & (self.sent_us < span.end_unix_ns // 1000)
        told = self.words[inside]
        times = told[told < RTT_LIMIT]
        return Tally(
            asked=int(np.count_nonzero(told != MARK_NOT_SENT)),
            answered=len(times),
            refused=int(np.count_nonzero(told == MARK_REFUSED)),
            median_us=float(np.median(times)) if len(times) else None,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Lane:
    """One line, or the path of ordinary traffic, with all its series, nearest rung first."""

    name: str
    traces: tuple[Trace, ...]

    def of_targets(self) -> list[Trace]:
        """The series that speak for the line itself."""
        return [trace for trace in self.traces if trace.series.role is Role.LINE]


@dataclass(frozen=True, slots=True, kw_only=True)
class Dossier:
    """The evidence for one outage.

    Attributes:
        site: The site's name.
        timezone: Name of its zone in the IANA data base.
        outage: The outage.
        plan: The line that was down, with its contract.
        window: What is shown: from some minutes before the outage to some minutes after it.
        now_unix_ns: The instant of making it.
        lanes: The line that was down, then the others, then ordinary traffic.
        around: What else happened within the window, in order of time.
        incident: What the outage is part of.
        watched: Whether the program ran from the first bound of the outage to its last.
        raw_gone: Whether single samples of that time are no longer kept.
        clock_error_us: By how much this machine's clock can be off UTC now; None where nothing disciplines it.
        pen: What writes its figures and instants for people.
    """

    site: str
    timezone: str
    outage: Event
    plan: UplinkPlan
    window: Span
    now_unix_ns: int
    lanes: tuple[Lane, ...]
    around: tuple[Event, ...]
    incident: Incident
    watched: bool
    raw_gone: bool
    clock_error_us: int | None
    pen: Pen

    @property
    def zone(self) -> tzinfo:
        """The site's zone itself."""
        return ZoneInfo(self.timezone)

    @property
    def contract(self) -> Contract | None:
        """The contract that was in force when the line broke."""
        return self.plan.contract_at(self.outage.start.estimate_unix_ns, self.zone)

    @property
    def down(self) -> Span:
        """The outage by the estimates of its instants; one that goes on lasts until now."""
        end = self.outage.end
        return Span(self.outage.start.estimate_unix_ns, end.estimate_unix_ns if end else self.now_unix_ns)

    @property
    def length_bounds_ns(self) -> tuple[int, int] | None:
        """The shortest and the longest that it can have lasted; None while it goes on."""
        start, end = self.outage.start, self.outage.end
        if end is None:
            return None
        return max(0, end.earliest_unix_ns - start.latest_unix_ns), end.latest_unix_ns - start.earliest_unix_ns

    def parts(self) -> tuple[Span, Span, Span]:
        """Surely before, surely during and surely after the outage: what lies within the bounds is in none of them."""
        start, end, last = self.outage.start, self.outage.end, self.window.end_unix_ns
        return (
            Span(self.window.start_unix_ns, start.earliest_unix_ns),
            Span(start.latest_unix_ns, end.earliest_unix_ns if end else last),
            Span(end.latest_unix_ns if end else last, last),
        )


def nearest_first(trace: Trace) -> int:
    """Return a series' place in order of its rung, for sorting."""
    return _NEAREST_FIRST.index(trace.series.role)
