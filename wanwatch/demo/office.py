"""The office: two lines, what condition each is in, and which one ordinary traffic takes.

Nothing here knows the time or a socket. A `Scene` is the whole truth at one instant; a packet's fate follows from it.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Final

Chance = Callable[[], float]
"""A number in [0, 1), new at each call."""


@dataclass(frozen=True, slots=True)
class Condition:
    """How a line treats what is sent over it.

    Attributes:
        delay_s: Round-trip time of an idle line, in seconds.
        spread_s: Mean of the queueing delay on top of it, in seconds (exponential).
        loss_ratio: Share of packets that vanish.
        silent: Nothing comes through at all.
    """

    delay_s: float
    spread_s: float = 0.0
    loss_ratio: float = 0.0
    silent: bool = False


@dataclass(frozen=True, slots=True)
class Line:
    """One simulated line.

    Attributes:
        name: Its uplink's name.
        source: The loopback address by which the servers know its packets.
        seen_as: The public address that the far end would see (RFC 5737, for documentation).
        usual: Its condition on a good day.
    """

    name: str
    source: str
    seen_as: str
    usual: Condition


FIBRE: Final = Line("fibre", "127.20.0.11", "198.51.100.11", Condition(delay_s=0.009, spread_s=0.0006))
COPPER: Final = Line("copper", "127.20.0.12", "203.0.113.12", Condition(delay_s=0.031, spread_s=0.002))
LINES: Final = (FIBRE, COPPER)
"""In the office's order of preference."""


@dataclass(frozen=True, slots=True)
class Scene:
    """The truth at one instant: the condition of each line, and the name of the carrying one (None: no line)."""

    conditions: Mapping[str, Condition]
    carrying: str | None

    def with_line(self, name: str, condition: Condition) -> "Scene":
        """The same scene, with line *name* in *condition*."""
        return replace(self, conditions={**self.conditions, name: condition})

    def carried_by(self, name: str | None) -> "Scene":
        """The same scene, with ordinary traffic on line *name*."""
        return replace(self, carrying=name)


QUIET: Final = Scene({line.name: line.usual for line in LINES}, carrying=FIBRE.name)
"""A good day."""


def line_of(scene: Scene, source: str) -> Line | None:
    """Find the line that a packet from *source* takes; None where it has no way out.

    A packet from a line's own address is pinned to it. Any other source is ordinary traffic.
    """
    by_source = {line.source: line for line in LINES}
    by_name = {line.name: line for line in LINES}
    if source in by_source:
        return by_source[source]
    return by_name[scene.carrying] if scene.carrying is not None else None


def loss_ratio(scene: Scene, source: str) -> float:
    """Return the share of packets from *source* that vanish: 1 where nothing gets through."""
    line = line_of(scene, source)
    if line is None or scene.conditions[line.name].silent:
        return 1.0
    return scene.conditions[line.name].loss_ratio


def fate(scene: Scene, source: str, chance: Chance) -> float | None:
    """Decide what becomes of one packet and its answer: their delay in seconds, or None if either is lost."""
    line = line_of(scene, source)
    if line is None or chance() < loss_ratio(scene, source):
        return None
    condition = scene.conditions[line.name]
    return condition.delay_s + condition.spread_s * _exponential(chance())


def _exponential(uniform: float) -> float:
    """Turn a number in [0, 1) into one of mean 1 with the tail of a queue, cut at 5 times the mean."""
    return min(5.0, -math.log1p(-uniform))
