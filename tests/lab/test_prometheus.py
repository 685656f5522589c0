"""A real Prometheus reads the daemon's metrics, on the mini PC, while it watches the lab's lines."""

import json
import subprocess
import urllib.parse
from collections.abc import Iterator

import pytest

from tests.lab import servers
from tests.lab.office import COPPER, FIBRE, Office, wait_until
from tests.lab.python import environment
from tests.lab.stage import require
from tests.lab.watch import QUICK, SITE, Watch

pytestmark = [pytest.mark.lab, pytest.mark.timeout(120)]

SCRAPE = """
global: { scrape_interval: 1s }
scrape_configs:
  - job_name: wanwatch
    static_configs: [ { targets: [ "127.0.0.1:9470" ] } ]
"""


@pytest.fixture(scope="module")
def watched(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Watch]:
    """A daemon at work, with Prometheus beside it."""
    require("prometheus", "promtool")
    folder = tmp_path_factory.mktemp("prometheus")
    with Office(folder) as office:
        servers.all_of(office)
        watch = Watch(office, QUICK)
        watch.start()
        (folder / "prometheus.yml").write_text(SCRAPE)
        office.spawn(
            "pc",
            "prometheus",
            f"--config.file={folder / 'prometheus.yml'}",
            f"--storage.tsdb.path={folder / 'tsdb'}",
            "--web.listen-address=127.0.0.1:9090",
        )
        wait_until(lambda: _ask(office, "up") == {"1"}, "a scrape by Prometheus", within_s=30)
        yield watch


def _ask(office: Office, query: str) -> set[str]:
    """The values that Prometheus has for a query."""
    url = f"http://127.0.0.1:9090/api/v1/query?{urllib.parse.urlencode({'query': query})}"
    answer = office.world.run("pc", "curl", "-sf", "-m", "2", url)
    if answer.returncode:
        return set()
    return {series["value"][1] for series in json.loads(answer.stdout)["data"]["result"]}


def test_promtool_finds_nothing_to_mend(watched: Watch) -> None:
    """`promtool check metrics` reads the exposition and checks names, units, types and help texts."""
    metrics = watched.office.world.must("pc", "curl", "-sS", "http://127.0.0.1:9470/metrics")
    checked = subprocess.run(
        ["promtool", "check", "metrics"],
        input=metrics,
        capture_output=True,
        text=True,
        check=False,
        env=environment(),
    )
    assert (checked.returncode, checked.stdout, checked.stderr) == (0, "", "")


def test_prometheus_holds_what_the_daemon_measured(watched: Watch) -> None:
    """What is asked of Prometheus is what the lab's lines are like."""
    office = watched.office
    assert _ask(office, f'wanwatch_uplink_state{{site="{SITE}",state="up"}}') == {"1"}
    assert _ask(office, f'wanwatch_uplink_state{{site="{SITE}",state="down"}}') == {"0"}
    wait_until(
        lambda: (
            _ask(office, f'wanwatch_uplink_carrying{{uplink="{FIBRE}"}}') == {"1"}
            and _ask(office, f'wanwatch_uplink_carrying{{uplink="{COPPER}"}}') == {"0"}
        ),
        "the carrying uplink in Prometheus",
        within_s=30,
    )
    mean = "sum(wanwatch_probe_rtt_seconds_sum{{{0}}}) / sum(wanwatch_probe_rtt_seconds_count{{{0}}})"
    for line, rtt_s in ((FIBRE, 0.0087), (COPPER, 0.033)):
        (value,) = _ask(office, mean.format(f'uplink="{line}",kind="echo",target="near"'))
        assert float(value) == pytest.approx(rtt_s, abs=0.004)
    assert _ask(office, "sum(wanwatch_probe_lost_total)") <= {"0"}
