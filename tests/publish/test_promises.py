"""What is allowed, and what became of promises, in metrics: the configuration's numbers and a tally's figures."""

from datetime import UTC, datetime
from pathlib import Path
from typing import Final

import pytest
from prometheus_client import CollectorRegistry

from wanwatch.config import Config, load
from wanwatch.core.account.tally import ClauseSoFar, Tally
from wanwatch.core.model import NS_PER_S
from wanwatch.publish.promises import PromiseFigures

FILE: Final = """
[site]
name = "harbour-lane"
timezone = "Europe/London"
data_dir = "data"
[[uplink]]
name = "fibre"
pin = { interface = "eth1" }
[uplink.contract]
provider = "Example Fibre"
clause = [
  { measure = "availability", at_least = "99.5%" },
  { measure = "availability", at_least = "99.9%" },
  { measure = "availability", at_least = "99.99%", within = "working-hours" },
  { measure = "loss", at_most = "0.1%" },
]
[[uplink]]
name = "copper"
pin = { interface = "eth2" }
metered = true
data_budget = "2 GB/month"
[[target]]
name = "near"
echo = "192.0.2.1"
"""
IN_OCTOBER: Final = int(datetime(2026, 10, 31, 23, 30, tzinfo=UTC).timestamp()) * NS_PER_S
NOVEMBER: Final = int(datetime(2026, 11, 1, tzinfo=UTC).timestamp()) * NS_PER_S
FIBRE: Final = {"site": "harbour-lane", "uplink": "fibre"}
COPPER: Final = {"site": "harbour-lane", "uplink": "copper"}
USUAL, STRICT = "availability at least 99.5%", "availability at least 99.9%"
TALLY: Final = Tally(
    made_unix_ns=IN_OCTOBER - 600 * NS_PER_S,
    until_unix_ns=NOVEMBER,
    clauses=(
        ClauseSoFar(uplink="fibre", clause=USUAL, value=0.9987, met=True, left_s=10_038.0),
        ClauseSoFar(uplink="fibre", clause=STRICT, value=0.9987, met=False, left_s=-690.0),
        ClauseSoFar(uplink="fibre", clause="loss at most 0.1%", value=0.0004, met=None),
        ClauseSoFar(uplink="fibre", clause="loss at most 9%", value=0.0004, met=True),
        ClauseSoFar(uplink="wireless", clause=STRICT, value=1.0, met=None, left_s=2682.0),
    ),
)


def read(folder: Path, text: str = FILE) -> Config:
    """The configuration."""
    (folder / "wanwatch.toml").write_text(text)
    return load(folder / "wanwatch.toml", {})


def figures() -> tuple[CollectorRegistry, PromiseFigures]:
    """The figures, and where they are read."""
    registry, under_test = CollectorRegistry(), PromiseFigures("harbour-lane")
    registry.register(under_test)
    return registry, under_test


def by_clause(registry: CollectorRegistry, metric: str) -> dict[tuple[str, str, str], float]:
    """A metric of clauses, by uplink, name and hours."""
    found = [one for family in registry.collect() for one in family.samples if one.name == metric]
    assert all(one.labels["clause"].startswith(one.labels["measure"]) for one in found)
    return {(one.labels["uplink"], one.labels["clause"], one.labels["hours"]): one.value for one in found}


def test_a_contract_leaves_an_allowance_of_the_month_that_runs(tmp_path: Path) -> None:
    """October 2026 in London has 745 h, since the clocks go back (IANA time zone database); 0.1 % of it is allowed."""
    registry, under_test = figures()
    under_test.show(read(tmp_path), IN_OCTOBER)
    assert by_clause(registry, "wanwatch_clause_limit") == {
        ("fibre", USUAL, "always"): 0.995,
        ("fibre", STRICT, "always"): 0.999,
        ("fibre", "availability at least 99.99%, in working time", "working-hours"): 0.9999,
        ("fibre", "loss at most 0.1%", "always"): 0.001,
    }
    assert registry.get_sample_value("wanwatch_downtime_allowance_seconds", FIBRE) == 745 * 3.6
    assert registry.get_sample_value("wanwatch_data_budget_bytes", FIBRE) is None
    assert registry.get_sample_value("wanwatch_data_budget_bytes", COPPER) == 2e9
    assert registry.get_sample_value("wanwatch_downtime_allowance_seconds", COPPER) is None


def test_a_promise_by_the_quarter_allows_downtime_of_the_quarter(tmp_path: Path) -> None:
    """October, November and December 2026 in London have 92 days and the hour by which the clocks go back."""
    registry, under_test = figures()
    under_test.show(read(tmp_path, FILE.replace('"99.9%" }', '"99.9%", per = "quarter" }')), IN_OCTOBER)
    allowed = registry.get_sample_value("wanwatch_downtime_allowance_seconds", FIBRE)
    assert allowed == pytest.approx((92 * 24 + 1) * 3.6)


def test_what_became_of_each_clause_is_shown_and_what_is_open_is_not(tmp_path: Path) -> None:
    """Neither met nor breached is absent; what is left belongs to the clause whose allowance is shown."""
    registry, under_test = figures()
    under_test.show(read(tmp_path), IN_OCTOBER)
    under_test.take(TALLY)
    assert by_clause(registry, "wanwatch_clause_value") == {
        ("fibre", USUAL, "always"): 0.9987,
        ("fibre", STRICT, "always"): 0.9987,
        ("fibre", "loss at most 0.1%", "always"): 0.0004,
    }
    assert by_clause(registry, "wanwatch_clause_met") == {
        ("fibre", USUAL, "always"): 1,
        ("fibre", STRICT, "always"): 0,
    }
    assert registry.get_sample_value("wanwatch_downtime_allowance_remaining_seconds", FIBRE) == -690
    made = registry.get_sample_value("wanwatch_accounts_made_timestamp_seconds", {"site": "harbour-lane"})
    assert made == TALLY.made_unix_ns / NS_PER_S


def test_nothing_is_said_of_a_clause_that_left_the_configuration(tmp_path: Path) -> None:
    """Its series vanish, and those of a new one have a limit only."""
    registry, under_test = figures()
    under_test.show(read(tmp_path), IN_OCTOBER)
    under_test.take(TALLY)
    under_test.show(read(tmp_path, FILE.replace('"99.9%" }', '"99.7%" }').replace("0.1%", "0.2%")), IN_OCTOBER)
    assert set(by_clause(registry, "wanwatch_clause_value")) == {("fibre", USUAL, "always")}
    assert ("fibre", "availability at least 99.7%", "always") in by_clause(registry, "wanwatch_clause_limit")
    assert registry.get_sample_value("wanwatch_downtime_allowance_remaining_seconds", FIBRE) is None


def test_a_month_s_figures_end_with_the_month(tmp_path: Path) -> None:
    """A breach of October is none of November's."""
    registry, under_test = figures()
    under_test.show(read(tmp_path), IN_OCTOBER)
    under_test.take(TALLY)
    under_test.show(read(tmp_path), NOVEMBER)
    assert by_clause(registry, "wanwatch_clause_met") == by_clause(registry, "wanwatch_clause_value") == {}
    assert len(by_clause(registry, "wanwatch_clause_limit")) == 4


def test_only_the_contract_that_is_in_force_today_is_shown(tmp_path: Path) -> None:
    """Neither the former one nor the one that comes."""
    text = FILE.replace("[uplink.contract]", "[[uplink.contract]]\nends = 2026-10-31") + ""
    after = '[[uplink.contract]]\nprovider = "Example Fibre"\nstarts = 2026-11-01\n'
    clause = 'clause = [{ measure = "repair", at_most = "8h" }]\n'
    config = read(tmp_path, text.replace('[[uplink]]\nname = "copper"', f'{after}{clause}[[uplink]]\nname = "copper"'))
    registry, under_test = figures()
    under_test.show(config, IN_OCTOBER)
    assert len(by_clause(registry, "wanwatch_clause_limit")) == 4
    under_test.show(config, NOVEMBER)
    assert by_clause(registry, "wanwatch_clause_limit") == {("fibre", "repair at most 8 h", "always"): 8 * 3600}


def test_health_tells_the_downtime_that_is_allowed_and_left(tmp_path: Path) -> None:
    """Of the strictest promise that holds round the clock: 0.1 % of October, and what the tally leaves of it."""
    _, under_test = figures()
    under_test.show(read(tmp_path), IN_OCTOBER)
    month_s = 31 * 86_400 + 3600  # the clocks go back in it
    told = {"uplink": "fibre", "per": "month", "allowed_s": month_s / 1000}
    assert under_test.to_json() == [told | {"left_s": None}]
    under_test.take(TALLY)
    assert under_test.to_json() == [told | {"left_s": -690.0}]
