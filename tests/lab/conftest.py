"""What lab tests share: whether a lab can be built here, and labs ready for use."""

from collections.abc import Iterator
from typing import Final

import pytest

from tests.lab import servers
from tests.lab.enclosure import Enclosure, LabError
from tests.lab.office import Office
from tests.lab.stage import Outcome, Stage, Story, require, stage, take_of

PROGRAMS: Final = ("ip", "ss", "ethtool", "nft", "conntrack", "ping", "curl", "dnsmasq", "nginx", "turnserver")


@pytest.fixture(scope="session", autouse=True)
def lab_can_be_built() -> None:
    """Skip, and say why, where namespaces cannot be had or a program is missing."""
    require(*PROGRAMS)
    try:
        with Enclosure() as world:
            world.script("ip netns add try && ip netns exec try nft add table ip try")
    except (LabError, OSError) as error:
        pytest.skip(f"no lab on this machine: {error}")


@pytest.fixture(scope="module", params=[False, True], ids=["behind-a-gateway", "is-the-gateway"])
def office(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Office]:
    """An office of each kind with all its servers."""
    with Office(tmp_path_factory.mktemp("office"), mini_pc_routes=request.param) as built:
        servers.all_of(built)
        yield built


@pytest.fixture(scope="session")
def lab_stage(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Stage]:
    """Every story that a collected test asks about, already playing."""
    calls = [item.callspec for item in request.session.items if hasattr(item, "callspec")]
    # Other tests have a parameter of this name too.
    stories = [story for call in calls if isinstance(story := call.params.get("outcome"), Story)]
    with stage(tmp_path_factory.mktemp("stories"), stories) as opened:
        yield opened


@pytest.fixture
def outcome(request: pytest.FixtureRequest, lab_stage: Stage) -> Outcome:
    """What came of the story that the test is marked with; what went wrong in it is raised here.

    For a second try of the test it is played a second time.
    """
    story: Story = request.param
    return lab_stage.begin(story, take_of(request)).result()
