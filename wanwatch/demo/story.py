"""The story: a table of what happens to the office, and when; and what a truthful observer has to conclude from it."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

from wanwatch.core.model import Domain, EventKind
from wanwatch.demo.office import COPPER, FIBRE, Scene

Change = Callable[[Scene], Scene]


@dataclass(frozen=True, slots=True)
class Step:
    """One thing that happens.

    Attributes:
        name: What the truths below call this instant.
        at_s: When, in seconds from the story's start.
        told: The sentence for the terminal.
        change: What it makes of the scene.
    """

    name: str
    at_s: float
    told: str
    change: Change


@dataclass(frozen=True, slots=True)
class Truth:
    """Something that really happens in the story, between two steps that are named.

    Attributes:
        kind: The kind of event that tells it.
        uplink: The line it happens to; None for a switch.
        start: The step at which it begins.
        end: The step at which it ends.
        cut_off: For switches: the step from which ordinary traffic gets no answer, until the step `end`.
        not_in: Where it did not break, for sure; an observer may name another place, or none.
    """

    kind: EventKind
    uplink: str | None
    start: str
    end: str
    cut_off: str | None = None
    not_in: frozenset[Domain] = frozenset()


def _as_it_was(scene: Scene) -> Scene:
    return scene


def _fibre_is_bent(scene: Scene) -> Scene:
    usual = FIBRE.usual
    bent = replace(usual, delay_s=usual.delay_s + 0.028, spread_s=0.015, loss_ratio=0.3)
    return scene.with_line(FIBRE.name, bent)


def _fibre_is_well(scene: Scene) -> Scene:
    return scene.with_line(FIBRE.name, FIBRE.usual)


def _fibre_is_cut(scene: Scene) -> Scene:
    return scene.with_line(FIBRE.name, replace(FIBRE.usual, silent=True))


def _traffic_takes(line: str | None) -> Change:
    return lambda scene: scene.carried_by(line)


STORY: Final = (
    Step("open", 0.0, "Harbour Lane opens: traffic on fibre, copper behind it.", _as_it_was),
    Step("bent", 14.0, "A cabinet door bends the fibre: it loses 3 packets in 10.", _fibre_is_bent),
    Step("eased", 30.0, "The door is eased; the fibre is well again.", _fibre_is_well),
    Step("cut", 46.0, "A digger cuts the fibre. All traffic still goes into it.", _fibre_is_cut),
    Step("moved", 51.0, "The gateway has noticed: it moves traffic to copper.", _traffic_takes(COPPER.name)),
    Step("spliced", 64.0, "The fibre is spliced. Traffic stays on copper for now.", _fibre_is_well),
    Step("leaving", 76.0, "The gateway takes traffic off copper: nothing passes ...", _traffic_takes(None)),
    Step("back", 76.4, "... for 0.4 s, then it is on fibre again.", _traffic_takes(FIBRE.name)),
    Step("close", 90.0, "Harbour Lane closes for the day.", _as_it_was),
)
"""In order of time; the first step is at 0, the last one ends the story."""

_NOT_THE_LINE: Final = frozenset({Domain.OUR_SIDE, Domain.GATEWAY, Domain.FAR_END, Domain.NAMES})

TRUTHS: Final = (
    Truth(EventKind.IMPAIRMENT, FIBRE.name, "bent", "eased"),
    Truth(EventKind.OUTAGE, FIBRE.name, "cut", "spliced", not_in=_NOT_THE_LINE),
    Truth(EventKind.FAILOVER, None, "cut", "moved", cut_off="cut"),
    Truth(EventKind.FAILBACK, None, "leaving", "back", cut_off="leaving"),
)
"""All that an observer may tell of the story. Anything else that it tells is an invention."""
