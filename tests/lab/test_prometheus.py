"""A real Prometheus reads the daemon's metrics, on the mini PC, while it watches the lab's lines, and through faults.

The story is told in scraped.py, which goes on for as long as one likes by hand.
"""

import json
import math
import subprocess
from typing import Any, Final

import pytest
from prometheus_client.parser import text_string_to_metric_families

from tests.lab.office import COPPER, FIBRE
from tests.lab.python import environment
from tests.lab.scraped import QUIET, scraped
from tests.lab.stage import Outcome, Story, tells
from tests.lab.watch import MIXED

pytestmark = [pytest.mark.lab, pytest.mark.timeout(700)]

SCRAPED: Final = Story(scraped, asked=MIXED)
LONGER: Final = {
    "site: Speed": "a speed test waits until traffic has not moved for a while: see tests/lab/test_speed.py",
    "alerting: WanwatchNoticesStuck": "a notice has to wait for ten minutes: see deploy/prometheus/rules.test.yml",
    "alerting: WanwatchRemoteWriteLags": "a receiver has to keep silent for four minutes, as the lab's does by hand",
}
"""What has no data within so short a story, and why."""
ON_ANY_LOSS: Final = {"site: Lost by direction"}
"""What has data from the first lost packet on that a later answer tells of; a busy machine may lose one early."""
ON_A_FAULT: Final = {
    "alerting: WanwatchOutage": "stuck on a dead line",
    "alerting: WanwatchStuckFailover": "stuck on a dead line",
    "alerting: WanwatchDowntimeBurnsFast": "stuck on a dead line",
    "alerting: WanwatchDowntimeBurnsSlowly": "stuck on a dead line",
    "alerting: WanwatchClauseBreached": "stuck on a dead line",
    "fleet: Alerts": "stuck on a dead line",
    "alerting: WanwatchBlackout": "a blackout",
    "alerting: WanwatchImpaired": "a line that loses",
    "alerting: WanwatchPinNotProved": "a pin that is lost",
    "alerting: WanwatchUnobserved": "a pin that is lost",
    "alerting: WanwatchDataBudget": "a budget that is used up",
    "alerting: WanwatchSilent": "a daemon that is stopped",
}
"""What has data on a fault only, and the fault that first gives it some."""


def answers(outcome: Outcome) -> dict[str, str]:
    """When each panel and rule had data for all of its queries, by what asks."""
    told: dict[str, dict[str, str]] = json.loads((outcome.folder / "answers.json").read_text())
    of: dict[str, list[str]] = {}
    for query, who in told["asked"].items():
        of.setdefault(who, []).append(told["answered"].get(query, f"never: {query}"))
    return {who: max(found, key=lambda when: (when != QUIET, when)) for who, found in of.items()}


def metrics(outcome: Outcome) -> dict[str, Any]:
    """What was scraped while all was well, by name."""
    families = text_string_to_metric_families((outcome.folder / "metrics.txt").read_text())
    return {sample.name: family for family in families for sample in family.samples}


@tells(SCRAPED)
def test_every_panel_and_every_rule_has_data(outcome: Outcome) -> None:
    """All of it while all is well; what speaks of faults, once there is such a fault."""
    found = {who: when for who, when in answers(outcome).items() if who not in LONGER}
    assert not [who for who in ON_ANY_LOSS if found.pop(who).startswith("never")]
    assert found == dict.fromkeys(found, QUIET) | ON_A_FAULT


@tells(SCRAPED)
def test_promtool_finds_nothing_to_mend(outcome: Outcome) -> None:
    """`promtool check metrics` reads the exposition and checks names, units, types and help texts.

    Speed is the one exception: contracts, tests and everybody in the trade tell it in bits a second (common practice,
    no published source), and so does its name. It is there once a test has been made.
    """
    checked = subprocess.run(
        ["promtool", "check", "metrics"],
        input=(outcome.folder / "metrics.txt").read_text(),
        capture_output=True,
        text=True,
        check=False,
        env=environment(),
    )
    speed = 'wanwatch_speed_bits_per_second use base unit "bytes" instead of "bits"\n'
    assert (checked.returncode, checked.stdout, checked.stderr) in {(0, "", ""), (3, "", speed)}


@tells(SCRAPED)
def test_what_is_scraped_is_what_the_lines_are_like(outcome: Outcome) -> None:
    """States, who carries, and round trips of the lab's own delays."""
    found = metrics(outcome)
    states = {(one.labels["uplink"], one.labels["state"]): one.value for one in found["wanwatch_uplink_state"].samples}
    assert {place for place, value in states.items() if value} == {(FIBRE, "up"), (COPPER, "up")}
    carrying = {one.labels["uplink"]: one.value for one in found["wanwatch_uplink_carrying"].samples}
    assert carrying == {FIBRE: 1, COPPER: 0}
    for line, shorter_s, longer_s in ((FIBRE, 0.005, 0.01), (COPPER, 0.03, 0.05)):
        asked = {"uplink": line, "kind": "stamp", "target": "near"}
        within = {
            float(one.labels["le"]): one.value
            for one in found["wanwatch_probe_rtt_seconds_bucket"].samples
            if one.name.endswith("_bucket") and asked.items() <= one.labels.items()
        }
        # The middle one: 8.7 and 33 ms. A busy machine makes some take long, and their mean with them.
        assert within[shorter_s] < within[math.inf] / 2 <= within[longer_s]
