"""The route before the outage and in it, side by side, and where it stopped."""

from collections.abc import Iterator
from itertools import zip_longest
from typing import NamedTuple

from markupsafe import Markup

from wanwatch.core.traced import TracedRoute, routes_of
from wanwatch.report.dossier.story import say
from wanwatch.report.dossier.values import Dossier
from wanwatch.report.story import name

Hop = tuple[str | None, int | None]


class Step(NamedTuple):
    """One distance on the way: who answered there before and during; None beyond the end of that trace."""

    distance: int
    before: Hop | None
    during: Hop | None


def steps(dossier: Dossier) -> list[Step]:
    """Return the two routes side by side, nearest router first."""
    before, during = (() if one is None else one.hops for one in routes_of(dossier.outage))
    return [Step(number, *pair) for number, pair in enumerate(zip_longest(before, during), 1)]


def words(dossier: Dossier) -> Markup:
    """Say how far the route still went."""
    before, during = routes_of(dossier.outage)
    if during is None:
        return Markup("The route was not traced during this outage.")
    if during.failed:
        return say("During the outage the route could not be traced: {}.", during.failed)
    if during.reached:
        return say("The target {} answered when its route was traced.", name(during.target))
    return Markup(" ").join((_stopped(before, during), *_unreached(before)))


def _stopped(before: TracedRoute | None, during: TracedRoute) -> Markup:
    if during.last == 0:
        return Markup("Nobody on the way to the target answered any more, not even the nearest router.")
    last = name(during.hops[-1][0] or "")
    beyond = None if before is None else next((hop for hop, _ in before.hops[during.last :] if hop), None)
    if beyond is None:
        return say("During the outage the route stopped behind {}, at distance {}.", last, during.last)
    text = (
        "During the outage the route stopped behind {}, at distance {}: {}, which had answered beyond it, was silent."
    )
    return say(text, last, during.last, name(beyond))


def _unreached(before: TracedRoute | None) -> Iterator[Markup]:
    if before is not None and not before.failed and not before.reached:
        yield Markup("The target itself never answers traces, so its own silence here means nothing.")
