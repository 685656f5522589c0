"""Spells: how long the longest trouble of a time was, and how many there were, with bounds.

What was not observed could have hidden trouble, or have been part of what was seen beside it. So each figure has a low
end, of what was surely seen, and a high end, as if all unobserved time had been trouble.

Source: the rule is ours, with no published source, as in `core.account.clauses`.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from wanwatch.core.account.figures import Bounded
from wanwatch.core.account.spans import intersect, subtract, total_ns, union
from wanwatch.core.model import NS_PER_S, Event, Span


@dataclass(frozen=True, slots=True)
class Spell:
    """One trouble by the bounds of its event; each span lies within the next one.

    Attributes:
        surely: From the latest begin to the earliest end; of no length where they cross.
        likely: By the estimates.
        perhaps: From the earliest begin to the latest end.
        goes_on: Whether it is not over, so that it can come to any length.
    """

    surely: Span
    likely: Span
    perhaps: Span
    goes_on: bool = False

    @staticmethod
    def of(event: Event, now_unix_ns: int) -> "Spell":
        """Return when an event held; one without an end held until *now_unix_ns* at least."""
        start, end = event.start, event.end
        ends = (end.earliest_unix_ns, end.estimate_unix_ns, end.latest_unix_ns) if end else (now_unix_ns,) * 3
        return Spell(
            Span(start.latest_unix_ns, max(start.latest_unix_ns, ends[0])),
            Span(start.estimate_unix_ns, ends[1]),
            Span(start.earliest_unix_ns, ends[2]),
            goes_on=end is None,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Least:
    """The least that makes an outage: what unobserved time cannot have held more often than it has room for.

    Attributes:
        outage_ns: How long a line is silent before it is down.
        between_ns: How long it answers before it is up again.
    """

    outage_ns: int
    between_ns: int


USUAL_LEAST: Final = Least(outage_ns=5 * NS_PER_S, between_ns=30 * NS_PER_S)
"""By the judge's usual settings."""


def longest(spells: Sequence[Spell], measured: Sequence[Span], unobserved: Iterable[Span]) -> Bounded:
    """Return how long the longest trouble was, in seconds of the *measured* time; nought where there was none."""
    blind = union(unobserved)
    seen = [piece for spell in spells for piece in subtract([spell.surely], blind)]
    runs = union([spell.perhaps for spell in spells], blind)
    likely = [spell.likely for spell in spells]
    value, low, high = (_longest_s(spans, measured) for spans in (likely, seen, runs))
    return Bounded(value=value, low=low, high=math.inf if any(spell.goes_on for spell in spells) else high)


def number(
    spells: Sequence[Spell], measured: Sequence[Span], unobserved: Iterable[Span], *, longer_than_ns: int, least: Least
) -> Bounded:
    """Return how many troubles were longer than a length.

    A stretch of unobserved time counts as many as fit into it: of the least length that counts, with the least time
    between them. It may also have made one trouble of those on both sides of it, or a long one of a short one.
    """
    blind = union(unobserved)
    runs = union([spell.perhaps for spell in spells], blind)

    def is_long(spell: Spell) -> bool:
        return any(_is_longer(piece, measured, longer_than_ns) for piece in subtract([spell.surely], blind))

    def can_be_long(spell: Spell) -> bool:
        return any(_is_longer(run, measured, longer_than_ns) for run in runs if _touch(run, spell.perhaps))

    value = sum(_is_longer(spell.likely, measured, longer_than_ns) for spell in spells)
    low = sum(any(is_long(spell) for spell in joined) for joined in _joined(spells, blind))
    high = sum(spell.goes_on or can_be_long(spell) for spell in spells)
    length_ns = max(longer_than_ns, least.outage_ns)
    hidden = sum((within(gap, measured) + least.between_ns) // (length_ns + least.between_ns) for gap in blind)
    return Bounded(value=Fraction(value), low=Fraction(low), high=Fraction(high + hidden))


def within(span: Span, measured: Sequence[Span]) -> int:
    """Return how much of a span is measured time, in nanoseconds."""
    return total_ns(intersect([span], measured))


def _joined(spells: Sequence[Spell], blind: Sequence[Span]) -> list[list[Spell]]:
    """The spells in order of time; those in one list may have been one trouble, which nobody saw end in between."""
    groups: list[list[Spell]] = []
    for spell in sorted(spells, key=lambda spell: spell.likely.start_unix_ns):
        if groups and any(_touch(gap, groups[-1][-1].perhaps) and _touch(gap, spell.perhaps) for gap in blind):
            groups[-1].append(spell)
        else:
            groups.append([spell])
    return groups


def _touch(one: Span, other: Span) -> bool:
    return one.start_unix_ns <= other.end_unix_ns and other.start_unix_ns <= one.end_unix_ns


def _longest_s(spans: Iterable[Span], measured: Sequence[Span]) -> Fraction:
    return Fraction(max((within(span, measured) for span in spans), default=0), NS_PER_S)


def _is_longer(span: Span, measured: Sequence[Span], length_ns: int) -> bool:
    return within(span, measured) > length_ns
