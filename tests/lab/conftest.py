"""What lab tests share: whether a lab can be built here, and labs ready for use."""

import os
from collections.abc import Iterator

import pytest

from tests.lab import servers
from tests.lab.enclosure import Enclosure, LabError
from tests.lab.office import Office


@pytest.fixture(scope="session", autouse=True)
def lab_can_be_built() -> None:
    """Skip where namespaces cannot be had; fail instead where WANWATCH_LAB=required says that they must be."""
    try:
        with Enclosure() as world:
            world.script("ip netns add try && ip netns exec try nft add table ip try")
    except (LabError, OSError) as error:
        reason = f"no lab on this machine: {error}"
        if os.environ.get("WANWATCH_LAB") == "required":
            pytest.fail(reason)
        pytest.skip(reason)


@pytest.fixture(scope="module", params=[False, True], ids=["behind-a-gateway", "is-the-gateway"])
def office(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Office]:
    """An office of each kind with all its servers."""
    with Office(tmp_path_factory.mktemp("office"), mini_pc_routes=request.param) as built:
        servers.all_of(built)
        yield built
