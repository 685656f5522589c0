"""Which failovers are to be rehearsed again: never done, or longer ago than the office wants."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from shlex import quote
from typing import Final, Self

from wanwatch.core.drill.records import DONE
from wanwatch.core.model import NS_PER_S, Event, EventKind, Json

_DAY_NS: Final = 86_400 * NS_PER_S
_HOUR_NS: Final = 3600 * NS_PER_S


@dataclass(frozen=True, slots=True)
class Rehearsal:
    """When the failover of one uplink was last rehearsed to the end.

    Attributes:
        uplink: The uplink.
        every_ns: How often it is to be; None where nobody asks for it.
        last_unix_ns: When the last drill that was done ended; None if there was none.
    """

    uplink: str
    every_ns: int | None
    last_unix_ns: int | None

    def age_ns(self, now_unix_ns: int) -> int | None:
        """How long ago it was, never negative; None if never."""
        return None if self.last_unix_ns is None else max(0, now_unix_ns - self.last_unix_ns)

    def overdue(self, now_unix_ns: int) -> bool:
        """Whether it is asked for, and was never done or longer ago than that."""
        age_ns = self.age_ns(now_unix_ns)
        return self.every_ns is not None and (age_ns is None or age_ns > self.every_ns)

    def to_json(self, now_unix_ns: int) -> dict[str, Json]:
        """Return it as /health and the report tell it; times in seconds."""
        return {
            "uplink": self.uplink,
            "every_s": None if self.every_ns is None else self.every_ns / NS_PER_S,
            "last_unix_s": None if self.last_unix_ns is None else self.last_unix_ns / NS_PER_S,
            "overdue": self.overdue(now_unix_ns),
        }

    @classmethod
    def from_json(cls, told: Mapping[str, Json]) -> Self:
        """Return what `to_json` told, to the microsecond or so."""
        every_s, last_unix_s = (_number(told.get(key)) for key in ("every_s", "last_unix_s"))
        return cls(
            uplink=str(told.get("uplink")),
            every_ns=None if every_s is None else round(every_s * NS_PER_S),
            last_unix_ns=None if last_unix_s is None else round(last_unix_s * NS_PER_S),
        )


def _number(value: Json) -> float | None:
    return float(value) if isinstance(value, int | float) else None


def rehearsals(events: Iterable[Event], every_ns: Mapping[str, int | None]) -> list[Rehearsal]:
    """Return when each uplink's failover was last rehearsed: those that were, and those for which it is asked.

    Args:
        events: Events of the site; only drills that were done count.
        every_ns: The site's uplinks, with how often each one's failover is to be rehearsed.
    """
    last: dict[str | None, int] = {}
    for event in events:
        if event.kind is EventKind.DRILL and event.end is not None and event.detail.get("outcome") == DONE:
            last[event.uplink] = max(event.end.estimate_unix_ns, last.get(event.uplink, 0))
    return [
        Rehearsal(uplink, every, last.get(uplink))
        for uplink, every in every_ns.items()
        if every is not None or uplink in last
    ]


def due_says(rehearsal: Rehearsal, now_unix_ns: int) -> str:
    """Say when a failover was last rehearsed and, if it is overdue, what to do."""
    age_ns = rehearsal.age_ns(now_unix_ns)
    said = "never rehearsed" if age_ns is None else f"last rehearsed {_ago(age_ns)} ago"
    if not rehearsal.overdue(now_unix_ns) or rehearsal.every_ns is None:
        return f"{rehearsal.uplink}: failover {said}"
    return (
        f"{rehearsal.uplink}: failover {said}, and it should be every {_ago(rehearsal.every_ns)}; "
        f"at a quiet hour: wanwatch drill {quote(rehearsal.uplink)}"
    )


def _ago(length_ns: int) -> str:
    if length_ns >= 2 * _DAY_NS:
        return f"{length_ns // _DAY_NS} days"
    if length_ns >= _HOUR_NS:
        return f"{length_ns // _HOUR_NS} h"
    return f"{length_ns // (60 * NS_PER_S)} min"
