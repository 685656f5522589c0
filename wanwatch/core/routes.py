"""Routes: the first routers of each uplink as last seen, and what has changed of them.

A change of route is for the record and no alarm: providers move their lines about as they please.
"""

from collections.abc import Mapping
from typing import Final

from wanwatch.core.model import Json
from wanwatch.core.way import Way

_KEPT: Final = 100
"""Changes kept; the oldest go."""


class Routes:
    """What is known of each uplink's route; kept over a restart as `kept` returns it.

    Args:
        kept: What an earlier run kept.

    Attributes:
        first_hops: The first router beyond the gateway of each uplink that has shown it.
        changes: Each change: `at_unix_ns`, `uplink`, `before` and `after`, oldest first.
    """

    def __init__(self, kept: Json = None) -> None:
        kept = kept if isinstance(kept, dict) else {}
        hops, first, changes = kept.get("hops"), kept.get("first_hops"), kept.get("changes")
        self._hops: dict[str, list[Json]] = (
            {name: known for name, known in hops.items() if isinstance(known, list)} if isinstance(hops, dict) else {}
        )
        self.first_hops = (
            {name: hop for name, hop in first.items() if isinstance(hop, str)} if isinstance(first, dict) else {}
        )
        self.changes: list[Json] = list(changes) if isinstance(changes, list) else []

    def note(self, ways: Mapping[str, Way], at_unix_ns: int) -> bool:
        """Take in a round of traces; return whether anything is known now that was not before.

        A router that keeps silent is no change: many answer now and then only.
        """
        before = self.kept
        for name, way in ways.items():
            known, now = self._hops.get(name, []), list(way.hops)
            pairs = zip(known, now, strict=False)
            if any(old is not None and new is not None and old != new for old, new in pairs):
                self.changes.append({"at_unix_ns": at_unix_ns, "uplink": name, "before": known, "after": [*now]})
                known = []  # what stood behind the change is not known to stand there still
            self._hops[name] = [
                new if new is not None else old for old, new in zip([*known, *[None] * len(now)], now, strict=False)
            ]
            if way.first_hop is not None:
                self.first_hops[name] = way.first_hop
        del self.changes[:-_KEPT]
        return self.kept != before

    @property
    def kept(self) -> dict[str, Json]:
        """All of it, to be kept."""
        hops: dict[str, Json] = {name: [*hops] for name, hops in self._hops.items()}
        return {"hops": hops, "first_hops": dict(self.first_hops), "changes": [*self.changes]}
