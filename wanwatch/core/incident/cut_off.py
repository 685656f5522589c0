"""How long people were cut off in an incident, with no silence counted twice.

A switch and the outage behind it tell the same silence, a blackout and its restoration too. A switch tells when its
silence was, an outage only how much there was within it. Where silences may have been the same ones, the larger figure
stands for all of them: people were cut off for at least so long.

Source: the rules are ours, with no published source.
"""

from collections.abc import Iterable

from wanwatch.core.account.spans import intersect, total_ns, union
from wanwatch.core.model import NS_PER_S, SWITCHES, Event, Span


def cut_off_s(events: Iterable[Event]) -> float | None:
    """Return for how many seconds ordinary traffic got no answer; None where no event tells."""
    timed = [(event, event.interruption_s) for event in events if event.interruption_s is not None]
    if not timed:
        return None
    known = [(_extent(event, silent_s), silent_s, event.kind in SWITCHES) for event, silent_s in timed]
    silent = [span for span, _, of_switch in known if of_switch]
    total_s = 0.0
    for stretch in union(span for span, _, _ in known):
        within = [silent_s for span, silent_s, of_switch in known if not of_switch and intersect([span], [stretch])]
        total_s += max([total_ns(intersect(silent, [stretch])) / NS_PER_S, *within])
    return total_s


def _extent(event: Event, silent_s: float) -> Span:
    """Where the silence lies: a switch's own, or somewhere within an outage."""
    start, silent_ns = event.start.estimate_unix_ns, round(silent_s * NS_PER_S)
    if event.kind in SWITCHES or event.end is None:
        return Span(start, start + silent_ns)
    return Span(start, max(event.end.estimate_unix_ns, start + silent_ns))
