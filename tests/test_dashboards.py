"""Dashboards, rules and their descriptions: each name that exists is described, and no other is used or described."""

import json
import re
import shutil
import subprocess
from pathlib import Path
from typing import Final

import pytest

from dashboards.build import BOARDS
from dashboards.grafana import Dashboard, text
from wanwatch.publish import Metrics

ROOT: Final = Path(__file__).resolve().parents[1]
RULES: Final = ROOT / "deploy" / "prometheus"
METRICS_TEXT: Final = (ROOT / "dashboards" / "README.md").read_text("utf-8")
RULES_TEXT: Final = (RULES / "README.md").read_text("utf-8")
CASES: Final = ("rules.test.yml", "days.test.yml")
SUFFIX: Final = {"counter": "_total", "info": "_info"}
OF_HISTOGRAMS: Final = ("_bucket", "_sum", "_count")


def metrics() -> set[str]:
    """Every metric by the name that it is scraped by."""
    return {family.name + SUFFIX.get(family.type, "") for family in Metrics("s", "1").registry.collect()}


def labels() -> set[str]:
    """Every label of every metric."""
    registry = Metrics("s", "1").registry
    makers = (*registry._collector_to_names, *registry.collect())
    return {label for one in makers for label in getattr(one, "_labelnames", ())} | {"version", "le"}


def recorded(word: str) -> list[str]:
    """The names of the rules of one sort (`alert`, `record`), in all files of rules."""
    files = ("recording.yml", "alerts.yml")
    return [name for file in files for name in re.findall(rf"{word}: (\S+)", (RULES / file).read_text("utf-8"))]


def rows(of: str, heading: str) -> list[list[str]]:
    """The cells of the table under a heading."""
    part = of.partition(f"\n## {heading}\n")[2].partition("\n## ")[0]
    return [[cell.strip() for cell in line.strip("| \n").split(" | ")] for line in part.splitlines()
            if line.startswith("| ")][2:]  # fmt: skip


def first_column(of: str, heading: str) -> list[str]:
    """The names in the first cells of a table."""
    return [name for cells in rows(of, heading) for name in re.findall(r"`([^`]+)`", cells[0])]


def test_every_metric_is_described_and_no_other() -> None:
    """With its type, its labels, and its help text."""
    said = {cells[0].strip("`"): cells for cells in rows(METRICS_TEXT, "Metrics")}
    assert set(said) == metrics()
    for family in Metrics("s", "1").registry.collect():
        _, kind, _, meaning = said[family.name + SUFFIX.get(family.type, "")]
        assert (kind, meaning) == ("gauge" if family.type == "info" else family.type, family.documentation)


def test_every_label_is_described_and_no_other() -> None:
    """Both where its metric is and where its values are."""
    in_rows = {label for cells in rows(METRICS_TEXT, "Metrics") for label in re.findall(r"`([^`]+)`", cells[2])}
    assert in_rows | {"site"} == set(first_column(METRICS_TEXT, "Labels")) == labels()


@pytest.mark.parametrize(
    ("board", "heading"), [(BOARDS[0], "One site"), (BOARDS[1], "All sites")], ids=["site", "fleet"]
)
def test_every_panel_is_described_and_no_other(board: Dashboard, heading: str) -> None:
    """In the order in which it stands."""
    panels = [panel.title for row in board.rows for panel in row.panels]
    assert [cells[0] for cells in rows(METRICS_TEXT, heading)] == panels


@pytest.mark.parametrize(("word", "heading"), [("alert", "Alerts"), ("record", "Recorded figures")])
def test_every_rule_is_described_and_no_other(word: str, heading: str) -> None:
    """A rule that nobody can look up wakes people for nothing."""
    assert sorted(first_column(RULES_TEXT, heading)) == sorted(recorded(word))


@pytest.mark.parametrize(
    "file", ["dashboards/site.json", "dashboards/fleet.json", *(f"deploy/prometheus/{name}" for name in (
        "recording.yml", "alerts.yml", *CASES))]
)  # fmt: skip
def test_no_query_asks_for_what_does_not_exist(file: str) -> None:
    """Neither panels nor rules."""
    names = set(re.findall(r"wanwatch[_:][a-z0-9_:]+", (ROOT / file).read_text("utf-8")))
    histograms = {name + suffix for name in metrics() if name.endswith("_seconds") for suffix in OF_HISTOGRAMS}
    assert names - {"wanwatch_uplink", "wanwatch_build"} <= metrics() | histograms | set(recorded("record"))


@pytest.mark.parametrize("board", BOARDS, ids=lambda board: board.name)
def test_the_files_are_what_the_generator_makes(board: Dashboard) -> None:
    """`python -m dashboards.build` writes them anew."""
    name = f"{board.name}.json"
    written = (ROOT / "dashboards" / name).read_text("utf-8")
    assert written == text(board)
    assert json.loads(written)["uid"] == f"wanwatch-{name.removesuffix('.json')}"


@pytest.mark.parametrize("board", BOARDS, ids=lambda board: board.name)
def test_a_single_value_is_matched_as_it_is_and_many_as_a_pattern(board: Dashboard) -> None:
    """Grafana escapes a pattern's own characters in values of variables that may have several, and in no others."""
    asked = [query for row in board.rows for panel in row.panels for query, _ in panel.queries]
    for name, _, how_many in board.variables:
        matchers = {match for query in asked for match in re.findall(rf'(=~?)"\${name}"', query)}
        assert matchers == {"=" if how_many == "one" else "=~"}


@pytest.mark.parametrize("board", BOARDS, ids=lambda board: board.name)
def test_no_panel_covers_another(board: Dashboard) -> None:
    """Each place of the grid of 24 columns belongs to one panel."""
    taken: set[tuple[int, int]] = set()
    for panel in json.loads(text(board))["panels"]:
        at = panel["gridPos"]
        places = {(x, y) for x in range(at["x"], at["x"] + at["w"]) for y in range(at["y"], at["y"] + at["h"])}
        assert max(x for x, _ in places) < 24
        assert not taken & places
        taken |= places


@pytest.mark.parametrize(
    "words", [("check", "rules", "recording.yml", "alerts.yml"), ("test", "rules", *CASES),
              ("check", "config", "--syntax-only", "scrape.yml")], ids=" ".join
)  # fmt: skip
def test_promtool_finds_nothing_wrong(words: tuple[str, ...]) -> None:
    """The rules parse, each alert fires and keeps quiet as its cases say, and the configuration is one."""
    if shutil.which("promtool") is None:
        pytest.skip("not installed: promtool")
    done = subprocess.run(["promtool", *words], cwd=RULES, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def test_each_alert_has_a_case_in_which_it_fires() -> None:
    """And one in which it does not: each case has series of other sites that must stay silent."""
    cases = "".join((RULES / name).read_text("utf-8") for name in CASES)
    for alert in recorded("alert"):
        assert f'labels: \'ALERTS{{alertname="{alert}"' in cases, alert
