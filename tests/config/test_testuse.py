"""Bytes of speed tests, reckoned beforehand and afterwards. The figures are worked out by hand from the formats."""

from pathlib import Path
from typing import Any

import pytest

from wanwatch.config import Config, load
from wanwatch.config.commands import summary
from wanwatch.config.remarks import remarks
from wanwatch.config.testuse import monthly_test_bytes, most_bytes, most_payload, used_bytes, wire_bytes
from wanwatch.core.account.speed import Goodput
from wanwatch.core.account.speed_result import Direction, Ending, Run, Tcp

MB = 10**6


def office(folder: Path, uplink: str = "", speed: str = "") -> Config:
    path = folder / "wanwatch.toml"
    path.write_text(
        f'[site]\nname = "harbour-lane"\ndata_dir = "data"\n[[uplink]]\nname = "copper"\nmetered = true\n'
        f'pin = {{ source = "10.20.0.12" }}\n{uplink}\n[[target]]\nname = "near"\necho = "192.0.2.1"\n'
        f'[speed]\nserver = "http://192.0.2.80/"\n{speed}\n'
    )
    return load(path, {})


def speed_of(config: Config) -> Any:
    return config.speed


def test_payload_takes_its_headers_and_acknowledgements() -> None:
    """RFC 8200, RFC 9293, RFC 7323: 1428 of 1500 bytes, and 72 more for every second segment (RFC 5681 section 4.2)."""
    assert wire_bytes(1428 * 2, 1500) == 2 * 1500 + 72


@pytest.mark.parametrize(
    ("uplink", "down"),
    [
        ("", 5000 * MB),  # nothing is known but speed.most
        ("handoff = { link_mbps = 100 }", 100 * MB // 8 * 13),  # ten seconds, and three to warm up
        ('[uplink.contract]\nprovider = "Example Mobile"\nstarts = 2026-11-03\ndown_mbps = 40', 80 * MB // 8 * 13),
        (
            'handoff = { link_mbps = 1000 }\n[uplink.contract]\nprovider = "Example Mobile"\ndown_mbps = 40',
            80 * MB // 8 * 13,
        ),
    ],
    ids=["nothing", "port", "sold", "both"],
)
def test_a_test_moves_no_more_than_the_line_could_carry(tmp_path: Path, uplink: str, down: int) -> None:
    """The port's rate, twice what is sold, and speed.most: whichever is least."""
    config = office(tmp_path, uplink)
    assert most_payload(speed_of(config), config.uplinks[0], Direction.DOWN) == down


def run(direction: Direction, used: int, efficiency: float | None = None) -> Run:
    found = Goodput(bps=80e6, seconds=1.0, low_bps=0.0, median_bps=0.0, high_bps=0.0, bins=10) if used else None
    tcp = Tcp(efficiency=efficiency, least_rtt_s=None, mean_rtt_s=None, buffer_delay=None, mss=1428, timestamps=True)
    return Run(direction=direction, ending=Ending.DONE, used_bytes=used, goodput=found, connections=4, tcp=tcp)


def test_what_a_test_has_used_is_never_more_than_what_was_set_aside(tmp_path: Path) -> None:
    """The cap, what nobody has read yet, and the probes beside it are in both."""
    config = office(tmp_path, "handoff = { link_mbps = 100 }")
    speed, uplink = speed_of(config), config.uplinks[0]
    whole = [run(way, most_payload(speed, uplink, way), 1.0) for way in Direction]
    assert sum(one.used_bytes for one in whole) < used_bytes(speed, uplink, tuple(whole)) <= most_bytes(speed, uplink)


def test_what_was_sent_again_counts_as_well(tmp_path: Path) -> None:
    """RFC 6349 section 4.2: with an efficiency of 90 %, a tenth was sent twice."""
    config = office(tmp_path)
    speed, uplink = speed_of(config), config.uplinks[0]
    clean, lossy = (used_bytes(speed, uplink, (run(Direction.UP, 100 * MB, share),)) for share in (1.0, 0.9))
    assert lossy - clean == pytest.approx(wire_bytes(10 * MB, 1500), rel=1e-6)


def test_a_test_that_moved_nothing_has_used_nothing(tmp_path: Path) -> None:
    """A far end that cannot be reached costs next to nothing."""
    config = office(tmp_path)
    assert used_bytes(speed_of(config), config.uplinks[0], (run(Direction.DOWN, 0),)) == 0


def test_check_tells_what_tests_use_and_how_many_a_budget_leaves(tmp_path: Path) -> None:
    """Every two hours in the mean is 360 in 30 days; tests on demand cost nothing beforehand."""
    port = 'handoff = { link_mbps = 10 }\ndata_budget = "2 GB/month"'
    config = office(tmp_path, port, 'at = "every 2h"')
    speed, uplink = speed_of(config), config.uplinks[0]
    each = most_bytes(speed, uplink)
    assert monthly_test_bytes(speed, uplink) == 360 * each
    assert f"and at most {each / MB:.0f} MB each speed test" in summary(config)
    told = [remark for remark in remarks(config) if "for speed tests" in remark]
    assert len(told) == 1
    assert "of 360 are made" in told[0]
    assert monthly_test_bytes(speed_of(office(tmp_path, port)), uplink) == 0
