"""What connections count of themselves, beside what a packet socket sees of them."""

import json
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest

from tests.lab.enclosure import Enclosure
from tests.lab.python import PYTHON, environment

pytestmark = pytest.mark.lab


@pytest.fixture(scope="module")
def exchanged() -> Iterator[Mapping[str, Any]]:
    """Each exchange, with both figures."""
    with Enclosure() as world:
        world.script("ip netns add alone && ip -n alone link set lo up")
        script = str(Path(__file__).with_name("exchange.py"))
        done = world.run("alone", PYTHON, script, env=environment())
        assert done.returncode == 0, done.stderr
        yield json.loads(done.stdout)


@pytest.mark.parametrize("what", ["few", "few by IPv6", "by TLS", "many", "by another socket", "refused"])
def test_a_connection_counts_what_passes(what: str, exchanged: Mapping[str, Any]) -> None:
    """Once, to within a hundredth and what a close may be shorter than four packets (RFC 9293 section 3.6)."""
    (counted,), seen = exchanged[what]["counted"], exchanged[what]["seen"]
    assert seen > 0
    assert abs(counted - seen) <= 4 * (40 + 20 + 12) + seen / 100
