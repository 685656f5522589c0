"""Sightings on their way to the disk: only what is news."""

import json
from collections import deque
from typing import Final, TypeAlias

from wanwatch.core.model import Learnt, Observation, Outcome, Sample
from wanwatch.core.sighting import DAY_NS, PINS, SAMPLE, SPEED, About, Sighting, fact, sighting

SIGHTINGS_IN_MEMORY: Final = 10_000
"""How many wait while the disk cannot be written; the oldest are given up first."""

SightingRow: TypeAlias = tuple[int, str, str]
"""Its instant, what it is about and what was said, as JSON texts."""


class Sightings:
    """Tells news from what was said before, and gathers the news."""

    def __init__(self) -> None:
        self._last: dict[About, Sighting] = {}
        self._kept: dict[About, Sighting] = {}
        self._news: deque[SightingRow] = deque(maxlen=SIGHTINGS_IN_MEMORY)

    def see(self, seen: Observation | Learnt) -> None:
        """Gather what is news in *seen*."""
        if isinstance(seen, Sample) and seen.outcome is Outcome.ANSWERED and fact(seen.series) is None:
            return  # nearly all samples
        found = sighting(seen)
        if found is None:
            return
        last, kept = self._last.get(found.about), self._kept.get(found.about)
        self._last[found.about] = found
        if last is None or kept is None:
            self._keep(found)
        elif found.at_unix_ns < last.at_unix_ns:
            # Outcomes become known in any order of sending: what holds from here on is told anew by the next one.
            self._keep(found)
            del self._last[found.about]
        elif found.said != kept.said or found.about[0] in (PINS, SPEED):
            # The last word before a change is a bound of when it came about.
            if found.about[0] != SAMPLE and last is not kept:
                self._keep(last)
            self._keep(found)
        elif not _silent(found) and found.at_unix_ns // DAY_NS > kept.at_unix_ns // DAY_NS:
            self._keep(found)

    def _keep(self, found: Sighting) -> None:
        first = found.about not in self._kept
        self._kept[found.about] = found
        if first and _silent(found):
            return
        self._news.append((found.at_unix_ns, json.dumps(found.about), json.dumps(found.said)))

    def take(self) -> tuple[SightingRow, ...]:
        """Return what was gathered since the last time."""
        taken = tuple(self._news)
        self._news.clear()
        return taken


def _silent(found: Sighting) -> bool:
    """Whether there is nothing more to say of a sample, as of one that has no sighting at all."""
    return found.about[0] == SAMPLE and found.said is None
