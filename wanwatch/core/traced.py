"""Traced: the whole way to an uplink's target, as it was while the line was up and as it is once it fell silent.

Both are kept in an outage's own detail (`routes`), so that they live and go with it.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

from wanwatch.core.instants import InstantError, instant_from_text, instant_text
from wanwatch.core.model import Event, Json

ROUTES: Final = "routes"
"""The key of an outage's detail that holds them."""


@dataclass(frozen=True, slots=True)
class TracedRoute:
    """What one trace showed.

    Attributes:
        at_unix_ns: When it was begun.
        target: The address that it leads to.
        hops: Who answered, nearest first, with the round-trip time in microseconds; None and None for a router that
            kept silent between others that did not. The last one is the target itself if it was reached.
        reached: Whether the target answered.
        failed: Why nothing could be traced; empty if it could.
    """

    at_unix_ns: int
    target: str
    hops: tuple[tuple[str | None, int | None], ...] = ()
    reached: bool = False
    failed: str = ""

    @property
    def last(self) -> int:
        """The distance of the last one that answered; 0 if nobody did."""
        return len(self.hops)

    def to_json(self) -> Json:
        """Return it as JSON values."""
        hops: list[Json] = [{"address": address, "rtt_us": rtt_us} for address, rtt_us in self.hops]
        at = instant_text(self.at_unix_ns)
        return {"at": at, "target": self.target, "hops": hops, "reached": self.reached, "failed": self.failed or None}


def with_routes(event: Event, before: TracedRoute | None, during: TracedRoute | None) -> Event:
    """Return *event* with what is known of its routes; what an earlier telling of it held already stays."""
    found = {key: one.to_json() for key, one in (("before", before), ("during", during)) if one is not None}
    kept = event.detail.get(ROUTES)
    told: dict[str, Json] = {**found, **(kept if isinstance(kept, dict) else {})}
    return replace(event, detail={**event.detail, ROUTES: told}) if told else event


def routes_of(event: Event) -> tuple[TracedRoute | None, TracedRoute | None]:
    """Return the routes before and during an outage, None for one that is not known or cannot be read."""
    kept = event.detail.get(ROUTES)
    kept = kept if isinstance(kept, dict) else {}
    return _read(kept.get("before")), _read(kept.get("during"))


def _read(kept: Json) -> TracedRoute | None:
    match kept:
        case {"at": str(at), "target": str(target), "hops": list(hops), "reached": bool(reached), "failed": failed}:
            try:
                at_unix_ns = instant_from_text(at)
            except InstantError:
                return None
            read = tuple(_hop(hop) for hop in hops if isinstance(hop, Mapping))
            return TracedRoute(at_unix_ns, target, read, reached, str(failed or ""))
        case _:
            return None


def _hop(hop: Mapping[str, Json]) -> tuple[str | None, int | None]:
    address, rtt_us = hop.get("address"), hop.get("rtt_us")
    return address if isinstance(address, str) else None, rtt_us if isinstance(rtt_us, int) else None
