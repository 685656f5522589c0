"""Sightings: what the judge is told besides the figures that minute blocks keep, for judging it again.

A block keeps when each probe was sent and what came of it. It does not keep what an answer said (the address that a
server saw, the connection that it came on), why a probe was refused or not sent, nor what the kernel's routes and links
and the pins' traces said. All of that stays the same for hours, so a sighting is kept only when something else is said,
and once a day.
"""

from collections.abc import Iterable, Mapping
from typing import Any, Final, NamedTuple, TypeAlias

from wanwatch.core.model import (
    NS_PER_S,
    Afterword,
    Cause,
    Json,
    Kind,
    Learnt,
    LinkSeen,
    Observation,
    Outcome,
    PinsSeen,
    Role,
    RouteSeen,
    Sample,
    Series,
    SpeedSeen,
)
from wanwatch.core.way import Way

DAY_NS: Final = 86_400 * NS_PER_S
"""A sighting stands for so long at the most: what is told again each day can be let go with the samples of its day."""

WEEK_NS: Final = 7 * DAY_NS
"""What is usual is told again each day, too, but only while the line is up."""

ROUTE: Final = "route"
LINK: Final = "link"
PINS: Final = "pins"
SAMPLE: Final = "sample"
LEARNT: Final = "learnt"
SPEED: Final = "speed"

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


def sighting(seen: Observation | Learnt) -> Sighting | None:
    """Return what is to be kept of *seen* besides its place in a block; None for an afterword."""
    if isinstance(seen, Afterword):
        return None
    if isinstance(seen, Sample):
        return Sighting(seen.sent_unix_ns // 1000 * 1000, of_sample(seen.series, seen.outcome), _said(seen))
    return Sighting(seen.at_unix_ns, *_word(seen))


def _word(seen: RouteSeen | LinkSeen | PinsSeen | SpeedSeen | Learnt) -> tuple[About, Json]:
    """What it is about, and what it says."""
    match seen:
        case RouteSeen():
            return (ROUTE,), [seen.uplink, *seen.changed_by] if seen.changed_by else seen.uplink
        case LinkSeen():
            return (LINK, seen.uplink), [seen.carrier, seen.address, seen.interface, seen.enabled]
        case PinsSeen():
            ways: dict[str, Json] = {n: [w.source, [*w.hops], w.ours, w.bound] for n, w in seen.ways.items()}
            return (PINS,), ways
        case SpeedSeen():
            return (SPEED, seen.uplink, seen.direction), [seen.bps, seen.counts, seen.length_ns]
        case Learnt():
            return (LEARNT, seen.uplink, seen.what), seen.known


def fact(series: Series) -> str | None:
    """Return the name of the one fact of an answered sample that the judge looks at, if it looks at any."""
    if series.role is Role.EGRESS:
        return "address"
    return "connection" if series.kind is Kind.HELD else None


def _said(sample: Sample) -> Json:
    """The cause, or the one fact that the judge looks at."""
    if sample.cause is not None:
        return sample.cause.value
    name = fact(sample.series)
    return {name: sample.facts[name]} if name and sample.facts and name in sample.facts else None


def is_witness(kept: Sighting) -> bool:
    """Whether *kept* says who carries ordinary traffic."""
    return kept.about[0] == ROUTE or (kept.about[0] == SAMPLE and Kind.STUN.value in kept.about[4:5])


def observation(kept: Sighting) -> RouteSeen | LinkSeen | PinsSeen | SpeedSeen | None:
    """Return what `sighting` made *kept* of, as if the monotonic clock were the wall clock; None if it was a sample."""
    at_ns, said = kept.at_unix_ns, _typed(kept.said)
    match kept.about:
        case (word,) if word == ROUTE:
            uplink, *changed_by = said if isinstance(said, list) else [said]
            return RouteSeen(at_ns, at_ns, uplink, tuple(changed_by))
        case (word, uplink) if word == LINK:
            return LinkSeen(at_ns, at_ns, uplink, *said)
        case (word, uplink, direction) if word == SPEED:
            return SpeedSeen(at_ns, at_ns, uplink, _typed(direction), *said)
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


def usuals(sightings: Iterable[Sighting]) -> dict[str, dict[str, Json]]:
    """Return what was known to be usual after *sightings*, which come by instant: by uplink and part."""
    found: dict[str, dict[str, Json]] = {}
    for kept in sightings:
        if kept.about[0] == LEARNT:
            found.setdefault(kept.about[1], {})[kept.about[2]] = kept.said
    return found


def _typed(said: Json) -> Any:
    """A sighting's word is what `sighting` made it, and nothing else writes them."""
    return said
