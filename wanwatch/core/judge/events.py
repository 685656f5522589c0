"""Events in the making: kept in monotonic instants, told in those of the wall clock."""

from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import NamedTuple

from wanwatch.core.judge.ladder import Rung
from wanwatch.core.model import NS_PER_S, Bounds, Domain, Effect, Event, EventKind, Json, Tell


class Moment(NamedTuple):
    """An instant between two observations (monotonic), the estimate last known to be within its bounds.

    Attributes:
        fixed: The instant as an earlier run told it; that run's monotonic clock is gone, so it stays as it is.
        floor_unix_ns: The earliest bound, where it is known from before a restart only.
    """

    estimate_ns: int
    earliest_ns: int
    latest_ns: int
    fixed: Bounds | None = None
    floor_unix_ns: int | None = None

    def seen(self, offset_ns: int) -> Bounds:
        """Return it as wall-clock bounds; *offset_ns* is the wall clock minus the monotonic one."""
        if self.fixed is not None:
            return self.fixed
        estimate = self.estimate_ns + offset_ns
        earliest = self.earliest_ns + offset_ns if self.floor_unix_ns is None else self.floor_unix_ns
        return Bounds(estimate, min(earliest, estimate), max(self.latest_ns + offset_ns, estimate))


def at(ns: int) -> Moment:
    """Return an instant that is known exactly."""
    return Moment(ns, ns, ns)


def rfc3339(unix_ns: int) -> str:
    """Return the instant in UTC with milliseconds (RFC 3339 section 5.6)."""
    seconds, rest = divmod(unix_ns, NS_PER_S)
    return f"{datetime.fromtimestamp(seconds, UTC):%Y-%m-%dT%H:%M:%S}.{rest // 1_000_000:03}Z"


def event_id(kind: EventKind, uplink: str | None, start_unix_ns: int) -> str:
    """Return the id of an event that is told to begin at *start_unix_ns*; an uplink of None stands for the site."""
    stamp = rfc3339(start_unix_ns).replace("-", "").replace(":", "")
    return f"{kind}-{uplink or 'site'}-{stamp}"


@dataclass(slots=True, kw_only=True)
class Draft:
    """An event that may still change; the fields are those of `Event`."""

    kind: EventKind
    uplink: str | None
    start: Moment
    end: Moment | None = None
    domain: Domain | None = None
    from_uplink: str | None = None
    to_uplink: str | None = None
    interruption_s: float | None = None
    detail: dict[str, Json] = field(default_factory=dict)
    ladder: tuple[Rung, ...] = ()
    id: str | None = None
    planned: bool = False
    drill: bool = False


def resumed(event: Event) -> Draft:
    """Return the draft of an event that was open when an earlier run ended."""
    start = Moment(0, 0, 0, fixed=event.start)
    return Draft(
        kind=event.kind, uplink=event.uplink, start=start, domain=event.domain, from_uplink=event.from_uplink,
        to_uplink=event.to_uplink, interruption_s=event.interruption_s, detail=dict(event.detail), id=event.id,
        planned=event.planned, drill=event.drill,
    )  # fmt: skip


class Book:
    """Where drafts become events, and effects wait to be handed out.

    Args:
        site: The site's name.

    Attributes:
        offset_ns: The wall clock minus the monotonic one, as it stands.
        effects: What has happened and was not handed out yet.
    """

    def __init__(self, site: str) -> None:
        self.site = site
        self.offset_ns = 0
        self.effects: list[Effect] = []
        self._open: dict[str, Draft] = {}

    def tell(self, draft: Draft) -> None:
        """Tell *draft* as it stands, for the first time or again."""
        event = self._event(draft)
        if draft.end is None:
            self._open[event.id] = draft
        else:
            self._open.pop(event.id, None)
        self.effects.append(Tell(event))

    def rebase(self, offset_ns: int) -> None:
        """Move to a wall clock that was stepped, and tell what is open again in its instants."""
        self.offset_ns = offset_ns
        for draft in tuple(self._open.values()):
            self.tell(draft)

    def drain(self) -> list[Effect]:
        """Return the waiting effects, and forget them."""
        if not self.effects:
            return []
        effects, self.effects = self.effects, []
        return effects

    def _event(self, draft: Draft) -> Event:
        start = draft.start.seen(self.offset_ns)
        if draft.id is None:
            draft.id = event_id(draft.kind, draft.uplink, start.estimate_unix_ns)
        return Event(
            id=draft.id, site=self.site, kind=draft.kind, uplink=draft.uplink, start=start, end=self._end(draft, start),
            domain=draft.domain, from_uplink=draft.from_uplink, to_uplink=draft.to_uplink,
            interruption_s=draft.interruption_s, planned=draft.planned, drill=draft.drill, detail=self._detail(draft),
        )  # fmt: skip

    def _end(self, draft: Draft, start: Bounds) -> Bounds | None:
        if draft.end is None:
            return None
        end = draft.end.seen(self.offset_ns)
        # Nothing ends before it began; the bounds of a short thing may overlap.
        return Bounds(
            max(end.estimate_unix_ns, start.estimate_unix_ns),
            max(end.earliest_unix_ns, start.earliest_unix_ns),
            max(end.latest_unix_ns, start.estimate_unix_ns),
        )

    def _detail(self, draft: Draft) -> dict[str, Json]:
        if not draft.ladder:
            return dict(draft.detail)
        return {**draft.detail, "ladder": [self._rung(rung) for rung in draft.ladder]}

    def _rung(self, rung: Rung) -> Json:
        answered, silent = (
            None if ns is None else rfc3339(ns + self.offset_ns) for ns in (rung.answered_ns, rung.silent_ns)
        )
        told: dict[str, Json] = {
            "rung": rung.name, "said": rung.said, "last_answered": answered, "last_silent": silent,
        }  # fmt: skip
        return told if rung.because is None else {**told, "because": rung.because}
