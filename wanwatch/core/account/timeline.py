"""The states of one uplink over a period: every nanosecond is in exactly one of the four.

What outranks what, strongest first:

1. unobserved: nobody was looking (no alive mark, or an event says that we could not look, or the future);
2. down: an outage was told;
3. impaired: an impairment was told;
4. up: probes of this uplink were kept for that time.

Up is a claim like the others and needs its evidence, so time for which nothing at all was kept is unobserved.
"""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from wanwatch.core.account.spans import intersect, subtract, union
from wanwatch.core.model import NS_PER_S, Event, EventKind, Span, State

_MINUTE_NS: Final = 60 * NS_PER_S
_BLIND: Final = frozenset({EventKind.UNOBSERVED, EventKind.PIN_LOST})


@dataclass(frozen=True, slots=True)
class Stretch:
    """A state and how long it held."""

    state: State
    span: Span


@dataclass(frozen=True, slots=True, kw_only=True)
class Timeline:
    """The four states of an uplink as disjoint sets of spans that fill the period."""

    up: tuple[Span, ...]
    impaired: tuple[Span, ...]
    down: tuple[Span, ...]
    unobserved: tuple[Span, ...]

    def within(self, period: Span) -> "Timeline":
        """Return the part of it in *period*."""
        states = {"up": self.up, "impaired": self.impaired, "down": self.down, "unobserved": self.unobserved}
        return Timeline(**{state: intersect(spans, [period]) for state, spans in states.items()})

    def stretches(self) -> list[Stretch]:
        """Return the states in order of time."""
        of_state = {
            State.UP: self.up,
            State.IMPAIRED: self.impaired,
            State.DOWN: self.down,
            State.UNOBSERVED: self.unobserved,
        }
        found = [Stretch(state, span) for state, spans in of_state.items() for span in spans]
        return sorted(found, key=lambda stretch: stretch.span.start_unix_ns)


def timeline(
    period: Span,
    uplink: str,
    *,
    events: Iterable[Event],
    watched: Sequence[Span],
    probed: Iterable[Span],
    now_unix_ns: int,
) -> Timeline:
    """Return the states of *uplink* over *period*.

    Args:
        period: What to account for.
        uplink: Whose states.
        events: Events of the site, of any kind and uplink. One without an end lasts until *now_unix_ns*.
        watched: When a daemon was alive.
        probed: For which time probes of this uplink were kept.
        now_unix_ns: The future begins here.
    """
    mine = [event for event in events if event.uplink in {uplink, None}]
    past = [Span(period.start_unix_ns, min(period.end_unix_ns, now_unix_ns))]
    looking = subtract(intersect(past, watched), spans_of(mine, _BLIND, now_unix_ns))
    down = intersect(looking, spans_of(mine, {EventKind.OUTAGE}, now_unix_ns))
    troubled = intersect(looking, spans_of(mine, {EventKind.IMPAIRMENT}, now_unix_ns))
    impaired = subtract(troubled, down)
    up = subtract(intersect(looking, probed), [*down, *impaired])
    unobserved = subtract([period], [*down, *impaired, *up])
    return Timeline(up=up, impaired=impaired, down=down, unobserved=unobserved)


def spans_of(events: Iterable[Event], kinds: Collection[EventKind], now_unix_ns: int) -> tuple[Span, ...]:
    """Return when events of these *kinds* held, by the estimates of their bounds; overlaps count once."""
    return union(event_span(event, now_unix_ns) for event in events if event.kind in kinds)


def event_span(event: Event, now_unix_ns: int) -> Span:
    """Return when an event held; one without an end lasts until *now_unix_ns*."""
    end = now_unix_ns if event.end is None else event.end.estimate_unix_ns
    return Span(event.start.estimate_unix_ns, end)


def probed_spans(minutes: Iterable[range], reach_minutes: int) -> tuple[Span, ...]:
    """Return for which time probes were kept, from the numbers of the minutes that hold any.

    Args:
        minutes: Stretches of minutes in each of which at least one probe left, Unix seconds // 60.
        reach_minutes: How long one such minute speaks for: 1, or more where probes are minutes apart.
    """
    return union(Span(run.start * _MINUTE_NS, (run.stop - 1 + reach_minutes) * _MINUTE_NS) for run in minutes)
