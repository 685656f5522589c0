"""Sightings: what the judge is told besides the figures that minute blocks keep, for judging it again.

A block keeps when each probe was sent and what came of it. It does not keep what an answer said (the address that a
server saw), why a probe was refused or not sent, nor what the kernel's routes and links and the pins' traces said.
All of that stays the same for hours, so a sighting is kept only when something else is said, and once a day.
"""

from collections.abc import Mapping
from typing import Any, Final, NamedTuple, TypeAlias

from wanwatch.core.model import (
    NS_PER_S,
    Afterword,
    Cause,
    Json,
    Kind,
    LinkSeen,
    Observation,
    Outcome,
    PinsSeen,
    Role,
    RouteSeen,
    Sample,
    Series,
)
from wanwatch.core.way import Way

DAY_NS: Final = 86_400 * NS_PER_S
"""A sighting stands for so long at the most: what is told again each day can be let go with the samples of its day."""

ROUTE: Final = "route"
LINK: Final = "link"
PINS: Final = "pins"
SAMPLE: Final = "sample"

About: TypeAlias = tuple[str, ...]
"""What a sighting is about: one of the words above, and whose."""


class Sighting(NamedTuple):
    """Something else was said.

    Attributes:
        at_unix_ns: When; for samples when the probe was sent, in whole microseconds as blocks have it.
        about: What it is about.
        said: What was said; for samples it stands for those of the same series and outcome that follow.
    """

    at_unix_ns: int
    about: About
    said: Json


def of_sample(series: Series, outcome: Outcome) -> About:
    """Return what the sightings of a series' samples of one outcome are about."""
    return (SAMPLE, outcome.value, *map(str, series))


def sighting(seen: Observation) -> Sighting | None:
    """Return what is to be kept of *seen* besides its place in a block; None for an afterword."""
    match seen:
        case Sample():
            at_ns = seen.sent_unix_ns // 1000 * 1000
            return Sighting(at_ns, of_sample(seen.series, seen.outcome), _said(seen))
        case RouteSeen(at_unix_ns=at_ns):
            said: Json = [seen.uplink, *seen.changed_by] if seen.changed_by else seen.uplink
            return Sighting(at_ns, (ROUTE,), said)
        case LinkSeen(at_unix_ns=at_ns):
            return Sighting(at_ns, (LINK, seen.uplink), [seen.carrier, seen.address, seen.interface, seen.enabled])
        case PinsSeen(at_unix_ns=at_ns):
            ways: dict[str, Json] = {n: [w.source, [*w.hops], w.ours, w.bound] for n, w in seen.ways.items()}
            return Sighting(at_ns, (PINS,), ways)
        case Afterword():
            return None


def _said(sample: Sample) -> Json:
    """The cause, or the one fact that the judge looks at."""
    if sample.cause is not None:
        return sample.cause.value
    facts = sample.facts if sample.series.role is Role.EGRESS else None
    return {"address": facts["address"]} if facts and "address" in facts else None


def is_witness(kept: Sighting) -> bool:
    """Whether *kept* says who carries ordinary traffic."""
    return kept.about[0] == ROUTE or (kept.about[0] == SAMPLE and Kind.STUN.value in kept.about[4:5])


def observation(kept: Sighting) -> RouteSeen | LinkSeen | PinsSeen | None:
    """Return what `sighting` made *kept* of, as if the monotonic clock were the wall clock; None if it was a sample."""
    at_ns, said = kept.at_unix_ns, _typed(kept.said)
    match kept.about:
        case (word,) if word == ROUTE:
            uplink, *changed_by = said if isinstance(said, list) else [said]
            return RouteSeen(at_ns, at_ns, uplink, tuple(changed_by))
        case (word, uplink) if word == LINK:
            return LinkSeen(at_ns, at_ns, uplink, *said)
        case (word,) if word == PINS:
            ways = {name: Way(source, tuple(hops), ours, bound) for name, (source, hops, ours, bound) in said.items()}
            return PinsSeen(at_ns, at_ns, ways)
        case _:
            return None


def cause_and_facts(said: Json) -> tuple[Cause | None, Mapping[str, Json] | None]:
    """Return the cause and the facts of the samples that *said* stands for."""
    if isinstance(said, str):
        return Cause(said), None
    return None, said if isinstance(said, dict) else None


def _typed(said: Json) -> Any:
    """A sighting's word is what `sighting` made it, and nothing else writes them."""
    return said
