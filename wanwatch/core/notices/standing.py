"""How a case stands for one address: is it in trouble, on which lines, and has that changed since it was told."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from wanwatch.core.incident import Sign
from wanwatch.core.incident.joining import AWAY_NS, JOIN_NS
from wanwatch.core.incident.pattern import LEAVING, is_away, signs_of
from wanwatch.core.model import SWITCHES, Event, EventKind
from wanwatch.core.notices.case import STALE_NS, Case, over_ns
from wanwatch.core.notices.notice import Kind, Notice, Terms
from wanwatch.core.planned import windows_of

GRAVE: Final = frozenset({Sign.LINE_DOWN, Sign.LINES_DOWN_TOGETHER, Sign.STUCK, Sign.NOTHING_CARRIED})
"""The signs that make a case worse, where they join what was told without."""
_EASED: Final = frozenset({Kind.ENDED, Kind.PASSED, Kind.BETTER})
_DOUBLINGS: Final = 20


class Shows(StrEnum):
    """What a case shows, beside what an address was told of it."""

    GOES_ON = "goes on"
    WORSE = "worse"
    BETTER = "better"
    SETTLING = "settling"
    """Not for long enough in trouble, or not for long enough out of it, to say either."""
    CALM = "calm"
    NEWS = "calm, with news"


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """How a case stands for one address.

    Attributes:
        shows: What it shows.
        kinds: The kinds of its events that the address wants.
        lines: The uplinks in trouble; empty text where it is the site as a whole.
        signs: The grave ones of what it shows.
    """

    shows: Shows
    kinds: frozenset[EventKind]
    lines: tuple[str, ...]
    signs: tuple[Sign, ...]


def standing(case: Case, mine: Sequence[Notice], terms: Terms, now_unix_ns: int) -> Standing:
    """Return how *case* stands, after the notices about it that the address was given, in the order of their making."""
    events = [event for event in case.events if _counts(event, case, terms, now_unix_ns)]
    patience_ns = _patience_ns(mine, terms)
    ripe = [e for e in events if _lasts(e, now_unix_ns) and now_unix_ns - _start(e) >= terms.begin_after_ns]
    away = _away(events, case, terms, now_unix_ns)
    # What is told is all that is known; but what has only just begun is no reason to tell.
    sure = [event for event in events if event in ripe or not _lasts(event, now_unix_ns)]
    unsettled = {e.uplink or "" for e in events if _lasts(e, now_unix_ns) or _over(e) + patience_ns > now_unix_ns}
    if ripe or away is True:
        shows = _in_trouble(mine, _lines(ripe), unsettled, signs_of(sure) & GRAVE)
    elif away is None or any(_lasts(e, now_unix_ns) or _over(e) + patience_ns > now_unix_ns for e in events):
        shows = Shows.SETTLING
    else:
        last_told_ns = mine[-1].made_unix_ns if mine else 0
        shows = Shows.NEWS if any(_over(event) > last_told_ns for event in events) else Shows.CALM
    return Standing(
        shows=shows,
        kinds=frozenset(event.kind for event in events),
        lines=_lines(event for event in events if _lasts(event, now_unix_ns)),
        signs=tuple(sorted(signs_of(events) & GRAVE)),
    )


def _in_trouble(
    mine: Sequence[Notice], lines: Iterable[str], unsettled: Iterable[str], signs: frozenset[Sign]
) -> Shows:
    told = set(mine[-1].lines) if mine else set()
    if set(lines) - told or signs - {sign for notice in mine for sign in notice.signs}:
        return Shows.WORSE
    return Shows.BETTER if told - set(unsettled) else Shows.GOES_ON


def _counts(event: Event, case: Case, terms: Terms, now_unix_ns: int) -> bool:
    """Whether the address wants to hear of it: by kind, not from long ago, and not on purpose as long as it is so."""
    if event.kind not in terms.on or _start(event) > now_unix_ns:
        return False
    over = over_ns(event, now_unix_ns)
    if over is not None and over < max(terms.since_unix_ns, now_unix_ns - STALE_NS):
        return False
    heeded = {EventKind.PLANNED_WORK: terms.planned, EventKind.DRILL: terms.drills}
    windows = (window for window in windows_of(event, case.incident.beside) if not heeded[window.kind])
    return not any(_within(event, window, now_unix_ns if over is None else over) for window in windows)


def _within(event: Event, window: Event, until_unix_ns: int) -> bool:
    """Whether it began in the window and did not outlast it; of a switch it is enough that it happened then."""
    if _start(event) < _start(window) or window.end is None:
        return False
    return event.kind in SWITCHES or until_unix_ns <= window.end.estimate_unix_ns


def _away(events: Sequence[Event], case: Case, terms: Terms, now_unix_ns: int) -> bool | None:
    """Whether traffic is away from its line, where that was asked for; None: not for long enough to say so."""
    left = [event for event in events if event.kind in LEAVING]
    switches = [event for event in case.events if event.kind in SWITCHES]
    if not left or not is_away(switches):
        return False
    last_ns = max(_over(event) for event in case.events if not _lasts(event, now_unix_ns))
    if now_unix_ns >= last_ns + AWAY_NS:  # it belongs where it is by now
        return False
    return True if now_unix_ns - _start(left[-1]) >= terms.begin_after_ns else None


def _patience_ns(mine: Iterable[Notice], terms: Terms) -> int:
    """How long a line must be calm to be told as such: twice as long each time that it was told and did not hold."""
    eased = sum(notice.kind in _EASED for notice in mine)
    return min(terms.end_after_ns << min(eased, _DOUBLINGS), JOIN_NS)


def _lines(events: Iterable[Event]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(event.uplink or "" for event in events if event.kind not in SWITCHES))


def _lasts(event: Event, now_unix_ns: int) -> bool:
    return over_ns(event, now_unix_ns) is None


def _start(event: Event) -> int:
    return event.start.estimate_unix_ns


def _over(event: Event) -> int:
    return (event.end or event.start).estimate_unix_ns
