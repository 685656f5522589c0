"""Effect: what the judge concludes from what was seen, and the numbers that it concludes by."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, tzinfo
from typing import TypeAlias

from wanwatch.core.model.event import Event, State
from wanwatch.core.model.units import NS_PER_S, Json
from wanwatch.core.way import Nat


@dataclass(frozen=True, slots=True)
class Tell:
    """Keep this event, then tell it."""

    event: Event


@dataclass(frozen=True, slots=True)
class Pace:
    """Probe this uplink (or the unpinned path) at the quick pulse, or at its usual interval again."""

    uplink: str
    quick: bool


@dataclass(frozen=True, slots=True)
class StateChanged:
    """An uplink's state, as told on the status page and in the metrics, is another one now."""

    uplink: str
    state: State
    since_unix_ns: int


@dataclass(frozen=True, slots=True)
class CarryingChanged:
    """The carrying uplink is another one now.

    Attributes:
        uplink: Its name; None when no uplink carries or nobody can tell; the most preferred one where several share.
        known: False where the witnesses disagree or are missing.
        shares: The uplinks that carry at once, in order of preference; empty unless several do.
    """

    uplink: str | None
    known: bool
    shares: tuple[str, ...] = ()

    @property
    def carriers(self) -> tuple[str, ...]:
        """All uplinks that are known to carry."""
        return self.shares or ((self.uplink,) if self.known and self.uplink is not None else ())


@dataclass(frozen=True, slots=True)
class PinChanged:
    """Something else is held of an uplink's pin now.

    Attributes:
        uplink: Whose pin.
        proved: Whether it is proved to leave by its own line; None while nothing tells.
        nat: Who translates addresses on its way.
        leaves_by: The uplink by whose line it leaves instead, if it does.
    """

    uplink: str
    proved: bool | None
    nat: Nat
    leaves_by: str | None = None


@dataclass(frozen=True, slots=True)
class Learnt:
    """What is usual for an uplink has changed; to be kept for the next run, and for judging again from here on.

    Attributes:
        at_unix_ns: When.
        uplink: Whose.
        what: Which part of what is usual, such as `delay-20` for the hour from 20:00 on.
        known: All that is known of that part.
    """

    at_unix_ns: int
    uplink: str
    what: str
    known: Json


Effect: TypeAlias = Tell | Pace | StateChanged | CarryingChanged | PinChanged | Learnt


@dataclass(frozen=True, slots=True)
class Promised:
    """The speeds of a contract in bits per second, None where it names none."""

    down_bps: float | None = None
    up_bps: float | None = None


@dataclass(frozen=True, slots=True)
class JudgeSettings:
    """The rules' numbers, all durations in monotonic nanoseconds; defaults are those of the configuration.

    `zone` is the site's: delay is compared with what is usual at that hour of the week, as its clocks show it.
    `promised` has the speeds of the contracts, by uplink.
    """

    down_after_ns: int = 5 * NS_PER_S
    up_after_ns: int = 30 * NS_PER_S
    impaired_loss_ratio: float = 0.03
    impaired_delay_ns: int = 50_000_000
    window_ns: int = 60 * NS_PER_S
    clear_after_ns: int = 300 * NS_PER_S
    stuck_after_ns: int = 30 * NS_PER_S
    flapping_changes: int = 4
    flapping_within_ns: int = 600 * NS_PER_S
    impaired_speed_ratio: float = 0.5
    zone: tzinfo = UTC
    promised: Mapping[str, Promised] = field(default_factory=dict)
