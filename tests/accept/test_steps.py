"""The steps, where what they look at is given: which port is the line's own."""

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from wanwatch.accept import steps
from wanwatch.accept.steps import Amount, Steps
from wanwatch.clock import RealClock
from wanwatch.config import load
from wanwatch.core.acceptance import Handover, Step, Verdict
from wanwatch.measure.port import Port

EXAMPLES = Path(__file__).parents[2] / "examples"


@pytest.mark.parametrize(
    ("example", "gateway", "verdict"),
    [
        ("router.toml", None, Verdict.PASS),
        ("router.toml", "198.51.100.1", Verdict.PASS),  # the provider's own router
        ("router.toml", "192.168.1.1", Verdict.NOT_DECIDED),  # RFC 1918: a gateway of ours
        ("two-lines.toml", "10.20.0.1", Verdict.NOT_DECIDED),  # pinned by address
    ],
)
async def test_the_port_counts_where_the_line_ends_in_it(
    example: str, gateway: str | None, verdict: Verdict, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Behind a gateway this machine's own port says nothing of the line's."""
    file = tmp_path / "wanwatch.toml"
    file.write_text((EXAMPLES / example).read_text("utf-8").replace("/var/lib/wanwatch", "record"))
    config = load(file)
    uplink = config.uplinks[0]
    looked: Any = SimpleNamespace(uplink=uplink, link=SimpleNamespace(interface="eth1"), gateway=gateway)

    async def look(*_: Any) -> list[Any]:
        return [looked]

    monkeypatch.setattr(steps, "look_closely", look)
    monkeypatch.setattr(steps, "read_port", lambda _interface: Port(10**10, "full"))
    measured = Steps(config, uplink, RealClock(), Amount(soak_ns=1, tests=1), lambda _done, _seen: None)
    (item,) = await measured.items(Step.PORT, Handover())
    assert item.verdict is verdict
    assert (", on eth1" in item.value) is (verdict is Verdict.PASS)
