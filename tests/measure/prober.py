"""Asks questions on a host of the lab, and prints what it is told, one JSON object a line.

Usage: python -m tests.measure.prober SECONDS QUESTIONS, the latter a JSON object: uplink -> [kind, address, pin].
"""

import asyncio
import json
import sys

from tests.measure.far_ends import question
from wanwatch.clock import RealClock
from wanwatch.core.model import Afterword, Kind, LinkSeen, Observation, Pin, RouteSeen, Sample
from wanwatch.measure.measurer import Measurer
from wanwatch.measure.watch import LinkWatch, RouteWatch


def say(seen: Observation) -> None:
    """Print one observation."""
    line: dict[str, object]
    match seen:
        case Sample():
            line = {"uplink": seen.series.uplink, "outcome": seen.outcome, "cause": seen.cause, "facts": seen.facts}
        case RouteSeen():
            line = {"route": seen.uplink} | ({"changed_by": seen.changed_by} if seen.changed_by else {})
        case LinkSeen():
            line = {"link": seen.uplink, "seen": [seen.interface, seen.carrier, seen.address], "enabled": seen.enabled}
        case Afterword():
            line = {"afterword": seen.late}
        case _:
            return
    sys.stdout.write(json.dumps(line) + "\n")
    sys.stdout.flush()


async def main(seconds: float, asked: dict[str, tuple[str, str, dict[str, object]]]) -> None:
    """Ask, watch and print."""
    pins = {uplink: Pin(**{**pin, "sources": tuple(pin.get("sources", ()))}) for uplink, (_, _, pin) in asked.items()}  # type: ignore[arg-type]
    measurer, links, routes = Measurer(RealClock(), say), LinkWatch(RealClock(), say), RouteWatch(RealClock(), say)
    questions = [
        question(Kind(kind), address, 862, uplink=uplink, pin=pins[uplink])
        for uplink, (kind, address, _) in asked.items()
    ]
    await measurer.apply(questions)
    await links.apply(pins)
    await routes.apply({("one", "10.1.0.2"): "first", ("two", None): "second"})
    await asyncio.sleep(seconds)
    await asyncio.gather(measurer.close(), links.close(), routes.close())


if __name__ == "__main__":
    asyncio.run(main(float(sys.argv[1]), json.loads(sys.argv[2])))
