"""Planned work and drills: windows in which a line may be worked on, and what happened in them.

A window is announced beforehand, and that is what a contract counts: whether it was is found from the clock and never
claimed by whoever announces it. A window entered afterwards stays in the record as a remark; it marks nothing and
counts nothing out.

Source: the rules are ours, with no published source.
"""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import replace
from typing import Final

from wanwatch.core.drill.records import LONGEST_NS
from wanwatch.core.errors import WanwatchError
from wanwatch.core.instants import instant_text
from wanwatch.core.judge.events import event_id
from wanwatch.core.model import NS_PER_S, Bounds, Event, EventKind, Span

BEFOREHAND: Final = "beforehand"
AFTERWARDS: Final = "afterwards"
A_YEAR_NS: Final = 366 * 86_400 * NS_PER_S
MOST_LETTERS: Final = 300
_FROM, _TO, _UPLINK, _WHY = "--from", "--to", "--uplink", "--why"


class PlanError(WanwatchError):
    """A window that cannot be announced.

    Attributes:
        option: What was given wrongly.
        given: What it was.
    """

    def __init__(self, option: str, given: str, reason: str, mend: str) -> None:
        self.option = option
        self.given = given
        super().__init__(f"{option} {given!r}: {reason}; {mend}")


def announced(
    site: str,
    window: Span,
    why: str,
    *,
    uplinks: Sequence[str],
    known: Collection[str],
    now_unix_ns: int,
    afterwards: bool = False,
) -> list[Event]:
    """Return the events that a window is kept as: one for each uplink, or one for the whole site.

    Args:
        site: The site's name.
        window: From when to when.
        why: What is done, in words.
        uplinks: The uplinks that are worked on; empty for the whole site.
        known: The uplinks that there are.
        now_unix_ns: The wall clock.
        afterwards: Whether the window may have begun already.

    Raises:
        PlanError: The window, an uplink or the reason will not do.
    """
    _check_window(window, now_unix_ns, afterwards=afterwards)
    _check_why(why)
    for uplink in uplinks:
        if uplink not in known:
            raise PlanError(_UPLINK, uplink, "there is no such uplink", f"take one of: {', '.join(sorted(known))}")
    late = window.start_unix_ns < now_unix_ns
    return [
        Event(
            id=event_id(EventKind.PLANNED_WORK, uplink, window.start_unix_ns),
            site=site,
            kind=EventKind.PLANNED_WORK,
            uplink=uplink,
            start=_exactly(window.start_unix_ns),
            end=_exactly(window.end_unix_ns),
            detail={
                "why": why,
                "announced": AFTERWARDS if late else BEFOREHAND,
                "announced_at": instant_text(now_unix_ns),
            },
        )
        for uplink in (dict.fromkeys(uplinks) or [None])
    ]


def counts(event: Event) -> bool:
    """Return whether an event is planned work that was announced beforehand."""
    return event.kind is EventKind.PLANNED_WORK and event.detail.get("announced") != AFTERWARDS


def marked(events: Iterable[Event], windows: Iterable[Event]) -> list[Event]:
    """Return *events*, each marked as planned if it reaches into a window that counts, for its line or for the site.

    Likewise it is marked as of a drill, if it reaches into one. An event that is still going on reaches into the window
    that it began in; how far it will reach is not known.
    """
    marking = _marking(windows)
    found = []
    for event in events:
        mine = [window.kind for window in marking if _reaches_into(event, window)]
        planned, drill = event.planned or EventKind.PLANNED_WORK in mine, event.drill or EventKind.DRILL in mine
        found.append(replace(event, planned=planned, drill=drill))
    return found


def windows_of(event: Event, windows: Iterable[Event]) -> list[Event]:
    """Return those of *windows* that *event* is marked for; a drill that goes on ends with the longest there can be."""
    return [window for window in _marking(windows) if _reaches_into(event, window)]


def _marking(windows: Iterable[Event]) -> list[Event]:
    return [_ended(window) for window in windows if counts(window) or window.kind is EventKind.DRILL]


def _ended(drill: Event) -> Event:
    """A drill that goes on, or that lost its command, reaches no further than the longest one could."""
    if drill.end is not None:
        return drill
    return replace(drill, end=_exactly(drill.start.estimate_unix_ns + LONGEST_NS))


def _reaches_into(event: Event, window: Event) -> bool:
    if window.end is None or event.kind in {EventKind.PLANNED_WORK, EventKind.DRILL}:
        return False
    if window.uplink not in {None, event.uplink, event.from_uplink, event.to_uplink}:
        return False
    begun, start = event.start.estimate_unix_ns, window.start.estimate_unix_ns
    if begun >= start:
        return begun < window.end.estimate_unix_ns
    return event.end is not None and event.end.estimate_unix_ns > start


def _check_window(window: Span, now_unix_ns: int, *, afterwards: bool) -> None:
    start, end = window.start_unix_ns, window.end_unix_ns
    if abs(start - now_unix_ns) > A_YEAR_NS:
        raise PlanError(_FROM, _shown(start), "is more than a year from now", "check the year")
    if end <= start:
        raise PlanError(_TO, _shown(end), f"is not after --from {_shown(start)}", "swap them, or move the end")
    if end - start > A_YEAR_NS:
        raise PlanError(_TO, _shown(end), "makes a window of more than a year", "check the year")
    if start < now_unix_ns and not afterwards:
        mend = "announce a window that is still to come, or add --afterwards: then it is kept, but counts nothing out"
        raise PlanError(_FROM, _shown(start), "has passed already", mend)


def _check_why(why: str) -> None:
    if not why.strip() or not why.isprintable() or len(why) > MOST_LETTERS:
        mend = f"say in one line of at most {MOST_LETTERS} letters what is done"
        raise PlanError(_WHY, why[:40], "is empty, too long, or holds characters that cannot be printed", mend)


def _shown(unix_ns: int) -> str:
    try:
        return instant_text(unix_ns)
    except OverflowError:  # beyond the calendar of this language: told as the number that it is
        return f"{unix_ns // NS_PER_S} s"


def _exactly(unix_ns: int) -> Bounds:
    return Bounds(unix_ns, unix_ns, unix_ns)
