"""Standing: what a line, a site or its people came to over some set of time: availability, and outages in figures.

Sources:     as `availability`; a site can carry while any of its lines can (IEC 60050-192: parallel redundancy, from
             memory).
Departures:  an outage counts where part of it was seen within that time; of one that reaches beyond it, or that went
             partly unobserved, only the part within that was seen has length.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from wanwatch.core.account.availability import MeanTimes, Times, availability, mean_times, times_in
from wanwatch.core.account.figures import Bounded
from wanwatch.core.account.spans import intersect, subtract, total_ns, union
from wanwatch.core.account.timeline import Timeline, event_span
from wanwatch.core.model import NS_PER_S, SWITCHES, Event, EventKind, Span


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """How something stood over some set of time.

    Attributes:
        times: How long each state held.
        availability: The ratio with its bounds.
        outages: How many separate outages were seen.
        longest_ns: How much was seen of the longest of them; 0 without one.
        means: Mean times between outages and to restoration.
    """

    times: Times
    availability: Bounded
    outages: int
    longest_ns: int
    means: MeanTimes


def standing(states: Timeline, troubles: Iterable[Span], counted: Iterable[Span]) -> Standing:
    """Return how something stood within the *counted* time.

    Args:
        states: Its states.
        troubles: Its outages, whole; those that touch or overlap are one.
        counted: The time that counts.
    """
    within = union(counted)
    times = times_in(states, within)
    down = intersect(states.down, within)
    lengths = [length for trouble in union(troubles) if (length := total_ns(intersect([trouble], down)))]
    return Standing(
        times=times,
        availability=availability(times),
        outages=len(lengths),
        longest_ns=max(lengths, default=0),
        means=mean_times(times, len(lengths)),
    )


def any_of(period: Span, lines: Sequence[Timeline]) -> Timeline:
    """Return the states of a site that can carry while any of its *lines* can.

    It is down only while every line was seen down; a line that nobody saw could have carried.
    """
    up = union(*(line.up for line in lines))
    impaired = subtract(union(*(line.impaired for line in lines)), up)
    down = union([period] if lines else [])
    for line in lines:
        down = intersect(down, line.down)
    return Timeline(up=up, impaired=impaired, down=down, unobserved=subtract([period], [*up, *impaired, *down]))


def as_felt(path: Timeline, period: Span, silent: Iterable[Span]) -> Timeline:
    """Return the states of ordinary traffic: *path* as far as it was watched, and down while it was *silent*."""
    watched = union(path.up, path.impaired, path.down)
    down = intersect(watched, silent)
    return Timeline(up=subtract(watched, down), impaired=(), down=down, unobserved=subtract([period], watched))


def silences(events: Iterable[Event], now_unix_ns: int) -> tuple[Span, ...]:
    """Return when ordinary traffic got no answer, as events tell it.

    A switch tells when its silence was, and a blackout lasts while it goes on. A stuck failover is one silence. An
    outage tells only how much silence there was within it, which is put at its begin.
    """
    return union(span for event in events for span in _silent(event, now_unix_ns))


def _silent(event: Event, now_unix_ns: int) -> list[Span]:
    start = event.start.estimate_unix_ns
    if event.kind is EventKind.STUCK_FAILOVER or (event.kind is EventKind.BLACKOUT and event.interruption_s is None):
        return [event_span(event, now_unix_ns)]
    if event.interruption_s is None:
        return []
    told = Span(start, start + round(event.interruption_s * NS_PER_S))
    if event.kind in SWITCHES:
        return [told]
    return list(intersect([told], [event_span(event, now_unix_ns)]))
