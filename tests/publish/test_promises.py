"""What is allowed, in metrics: the configuration's own numbers."""

from datetime import UTC, datetime
from pathlib import Path

from prometheus_client import CollectorRegistry

from wanwatch.config import load
from wanwatch.core.model import NS_PER_S
from wanwatch.publish.promises import PromiseFigures

FILE = """
[site]
name = "harbour-lane"
timezone = "Europe/London"
data_dir = "data"
[[uplink]]
name = "fibre"
pin = { interface = "eth1" }
[uplink.contract]
provider = "Example Fibre"
clause = [{ measure = "availability", at_least = "99.5%" }, { measure = "availability", at_least = "99.9%" }]
[[uplink]]
name = "copper"
pin = { interface = "eth2" }
metered = true
data_budget = "2 GB/month"
[[target]]
name = "near"
echo = "192.0.2.1"
"""
IN_OCTOBER = int(datetime(2026, 10, 31, 23, 30, tzinfo=UTC).timestamp()) * NS_PER_S


def test_a_contract_leaves_an_allowance_of_the_month_that_runs(tmp_path: Path) -> None:
    """October 2026 in London has 745 h, since the clocks go back (IANA time zone database); 0.1 % of it is allowed."""
    (tmp_path / "wanwatch.toml").write_text(FILE)
    registry, figures = CollectorRegistry(), PromiseFigures("harbour-lane")
    registry.register(figures)
    figures.show(load(tmp_path / "wanwatch.toml", {}), IN_OCTOBER)
    fibre = {"site": "harbour-lane", "uplink": "fibre"}
    assert registry.get_sample_value("wanwatch_clause_limit", {**fibre, "measure": "availability"}) == 0.999
    assert registry.get_sample_value("wanwatch_downtime_allowance_seconds", fibre) == 745 * 3.6
    assert registry.get_sample_value("wanwatch_data_budget_bytes", fibre) is None
    copper = {**fibre, "uplink": "copper"}
    assert registry.get_sample_value("wanwatch_data_budget_bytes", copper) == 2e9
    assert registry.get_sample_value("wanwatch_downtime_allowance_seconds", copper) is None
