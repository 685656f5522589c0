"""What the last run left behind, as the next one takes it."""

import pytest

from tests.fakes.clock import FakeClock
from tests.store.backends import SITE, SqliteBackend, event
from wanwatch.core.judge import Memory
from wanwatch.core.model import Json
from wanwatch.store.last_run import CARRYING, PROOFS, ROUTES, USUALS, last_run, recalled

PROOF: dict[str, Json] = {"fibre": {"addresses": {}, "first_hop": "198.51.100.1", "distance": 2}}
USUAL: dict[str, Json] = {"fibre": {"delay-20": {"near": {"20": [10_000, 11_000]}}}}


async def test_the_next_run_knows_what_this_one_kept(sqlite_backend: SqliteBackend, clock: FakeClock) -> None:
    """Who carried, what is open, what proved each pin, what is usual, and the routes."""
    keeper = sqlite_backend.keeper(clock)
    keeper.open()
    keeper.remember(CARRYING, {"uplink": None})
    keeper.remember(PROOFS, PROOF)
    keeper.remember(USUALS, USUAL)
    keeper.remember(ROUTES, {"hops": {}, "first_hops": {"fibre": "198.51.100.1"}, "changes": []})
    assert await keeper.event(event("outage-1", clock.now_unix_ns()))
    await keeper.close()
    memory, routes = last_run(sqlite_backend.path, SITE, clock.now_unix_ns() + 1)
    assert (memory.carrying, memory.carrying_known, memory.proofs, memory.usuals) == (None, True, PROOF, USUAL)
    assert routes.first_hops == {"fibre": "198.51.100.1"}
    assert recalled(sqlite_backend.path, SITE, PROOFS) == PROOF


def test_the_first_run_of_all_knows_nothing(sqlite_backend: SqliteBackend, clock: FakeClock) -> None:
    """Where there is no record yet, nothing is remembered, and that is no trouble."""
    memory, routes = last_run(sqlite_backend.path, SITE, clock.now_unix_ns())
    assert (memory, routes.first_hops) == (Memory(), {})
    assert recalled(sqlite_backend.path, SITE, PROOFS) is None


@pytest.mark.parametrize("odd", [3, [], {"uplink": 3}])
async def test_an_odd_note_is_no_memory(sqlite_backend: SqliteBackend, clock: FakeClock, odd: Json) -> None:
    """What no run of ours has written is not taken for an uplink's name or a proof."""
    keeper = sqlite_backend.keeper(clock)
    keeper.open()
    keeper.remember(CARRYING, odd)
    keeper.remember(PROOFS, 3)
    keeper.remember(USUALS, 3)
    await keeper.close()
    memory, _ = last_run(sqlite_backend.path, SITE, clock.now_unix_ns())
    assert (memory.carrying, memory.proofs, memory.usuals) == (None, {}, {})
