"""Resolving: what inspections of the resolvers have found, now and in this month."""

import logging
from collections.abc import Callable, Collection
from datetime import tzinfo

from wanwatch.core.account.calendar import local_time
from wanwatch.core.model import Json
from wanwatch.core.ports import Keeper
from wanwatch.core.resolving import Findings, Ledger, NamesSeen, Place, findings, ledger_key
from wanwatch.publish import news

log = logging.getLogger("wanwatch")


class Inspections:
    """The latest findings, and the ledger of the month that they are counted in."""

    def __init__(self) -> None:
        self.findings: dict[Place, Findings] = {}
        self._ledgers: dict[str, Ledger] = {}

    def follow(self, places: Collection[Place]) -> None:
        """Forget what was found anywhere but in *places*."""
        self.findings = {place: found for place, found in self.findings.items() if place in places}

    def take(
        self, seen: NamesSeen, zone: tzinfo, keeper: Keeper, recall: Callable[[str], Json]
    ) -> dict[Place, Findings]:
        """Log what is news in *seen*, count it in the month of the site's *zone*, and return what it amounts to."""
        found = findings(seen.answers)
        for said in news(self.findings, found):
            log.warning("%s", said)
        self.findings |= found
        month = local_time(seen.at_unix_ns, zone)
        key = ledger_key(month.year, month.month)
        if key not in self._ledgers:  # a new month, or the first inspection of this run
            self._ledgers = {key: Ledger.from_json(recall(key))}
        self._ledgers[key].add(found)
        keeper.remember(key, self._ledgers[key].to_json())
        return found

    def to_json(self) -> list[Json]:
        """How each resolver was found, as `/health` shows it."""
        return [
            {
                "uplink": uplink,
                "resolver": resolver,
                "rewriting": found.rewriting.value,
                "validates": found.validates.value if found.validates else None,
                "differs_on": list(found.differs_on),
            }
            for (uplink, resolver), found in self.findings.items()
        ]
