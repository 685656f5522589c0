"""The link watch on this machine's own loopback; lines that really change are in test_lines_in_a_lab."""

import asyncio

import pytest

from wanwatch.clock import RealClock
from wanwatch.core.model import LinkSeen, Observation, Pin
from wanwatch.measure.watch import LinkWatch


@pytest.mark.parametrize(
    ("source", "held"),
    [
        ("127.20.0.11", True),  # RFC 1122 section 3.2.1.3: the whole of 127.0.0.0/8 is this machine
        ("192.0.2.1", False),  # RFC 5737: nobody's
    ],
)
async def test_a_loopback_source_is_ours_though_the_kernel_does_not_list_it(source: str, held: bool) -> None:  # noqa: FBT001  # a parameter
    """Any address of 127.0.0.0/8 can be sent from; an address that is not ours is told as missing."""
    told: list[Observation] = []
    watch = LinkWatch(RealClock(), told.append)
    await watch.apply({"fibre": Pin(sources=(source,))})
    await asyncio.sleep(0)
    await watch.close()
    seen = told[0]
    assert isinstance(seen, LinkSeen)
    assert (seen.uplink, seen.address, seen.carrier) == ("fibre", held, held)
