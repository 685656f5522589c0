"""Views of an office in a drill, a second apart, for tests of the programme and its answers."""

from dataclasses import dataclass

from wanwatch.core.drill import Drill, Patience, Said, View, begun, follow
from wanwatch.core.model import NS_PER_S, Bounds, Event, EventKind, State

START_UNIX_NS = 1_790_000_000 * NS_PER_S
PATIENCE = Patience(
    steady_ns=3 * NS_PER_S,
    hand_ns=20 * NS_PER_S,
    move_ns=10 * NS_PER_S,
    stay_ns=5 * NS_PER_S,
    back_ns=10 * NS_PER_S,
    settle_ns=6 * NS_PER_S,
    unseen_ns=4 * NS_PER_S,
)


@dataclass
class Office:
    """The office as the daemon sees it at a second."""

    at_s: float = 0
    fibre: State = State.UP
    copper: State = State.UP
    carrying: str | None = "fibre"
    known: bool = True
    answers: bool = True
    said: Said = Said.NOTHING
    settled: bool = False

    def view(self) -> View:
        """What is known now."""
        at_ns = round(self.at_s * NS_PER_S)
        if not self.answers:
            return View(at_ns=at_ns, states={}, said=self.said)
        return View(
            at_ns=at_ns,
            states={"fibre": self.fibre, "copper": self.copper},
            carrying=self.carrying,
            known=self.known,
            said=self.said,
            settled=self.settled,
        )


def announced(office: Office) -> Drill:
    """A drill of the fibre, before the yes."""
    return begun("fibre", PATIENCE, office.view())


def after(drill: Drill, office: Office, seconds: float, **changes: object) -> Drill:
    """The drill, so many seconds and these changes later."""
    for name, value in changes.items():
        setattr(office, name, value)
    office.at_s += seconds
    return follow(drill, office.view())


def event(kind: EventKind, start_s: float, end_s: float | None, **facts: object) -> Event:
    """An event of the drill's time, with exact bounds."""
    start, end = (None if s is None else round(s * NS_PER_S) + START_UNIX_NS for s in (start_s, end_s))
    assert start is not None
    return Event(
        id=f"{kind.value}-{start_s:g}",
        site="harbour-lane",
        kind=kind,
        uplink=facts.pop("uplink", None),  # type: ignore[arg-type]  # a test's own words
        start=Bounds(start, start, start),
        end=None if end is None else Bounds(end, end, end),
        **facts,  # type: ignore[arg-type]
    )
