"""The report as data: its fields, its figures, and that the same report gives the same bytes."""

import json
import math
from typing import Any

import pytest

from tests.fakes.month import Truth, reported
from wanwatch.core.event_json import FIELDS
from wanwatch.report.as_json import render_json
from wanwatch.report.figures_json import number


def made() -> str:
    return render_json(reported())


@pytest.fixture(scope="module")
def data() -> dict[str, Any]:
    """The invented month, read back."""
    read: dict[str, Any] = json.loads(made())
    return read


def test_the_fields_are_those_that_programs_rely_on(data: dict[str, Any]) -> None:
    """Names and nesting are public."""
    assert list(data) == [
        "site",
        "period",
        "uplinks",
        "switches",
        "accounts",
        "incidents",
        "drills",
        "rehearsals",
        "beside",
        "months",
        "verdict",
    ]
    assert data["period"] == {
        "from": "2026-09-30T23:00:00.000000Z",
        "to": "2026-11-01T00:00:00.000000Z",
        "timezone": "Europe/London",
        "name": "2026-10",
    }
    fibre = data["uplinks"][0]
    assert list(fibre) == [
        "name", "observed_s", "unobserved_s", "up_s", "impaired_s", "down_s", "availability", "outages", "delay",
        "loss", "variation", "loss_runs", "voice", "names", "resolving", "speed", "clauses", "credit",
        "months", "months_credit",
    ]  # fmt: skip
    assert list(fibre["availability"]) == ["value", "low", "high"]
    assert list(fibre["delay"]) == ["near", "far"]
    assert list(fibre["delay"]["near"]) == ["p50_s", "p95_s", "p99_s", "samples"]
    assert list(fibre["variation"]["near"]) == ["pdv_p95_s", "pdv_p99_s", "ipdv_mean_abs_s", "jitter_s"]
    assert list(fibre["loss_runs"]["near"]) == ["runs", "longest", "mean_length"]
    assert list(fibre["voice"]["near"]) == ["r", "mos", "codec"]
    assert list(fibre["names"]["192.0.2.53"]) == ["success_ratio", "p95_s"]
    assert fibre["speed"] == {
        way: {"median_bps": None, "p10_bps": None, "tests": 0, "apart": {}} for way in ("down", "up")
    }
    assert fibre["credit"] == {}
    assert list(fibre["outages"][0]) == list(FIELDS) == list(data["switches"][0])
    plain = [
        "measure", "promised", "counts_out", "limit", "value", "verdict", "samples", "low", "high", "reason",
        "per", "contract", "needed", "evidence",
    ]  # fmt: skip
    assert list(fibre["clauses"][0]) == plain
    assert list(fibre["clauses"][2]) == ["measure", "target", "statistic", *plain[1:]]


def test_the_seconds_are_those_of_the_story_and_add_up(data: dict[str, Any]) -> None:
    """Up, impaired, down and unobserved are the month."""
    fibre, truth = data["uplinks"][0], Truth()
    assert (fibre["down_s"], fibre["impaired_s"], fibre["unobserved_s"]) == (
        truth.down_s,
        truth.impaired_s,
        truth.unobserved_s,
    )
    assert sum(fibre[f"{state}_s"] for state in ("up", "impaired", "down", "unobserved")) == truth.month_s
    assert fibre["observed_s"] == truth.month_s - truth.unobserved_s
    assert fibre["availability"]["value"] == (truth.month_s - truth.unobserved_s - truth.down_s) / fibre["observed_s"]


def test_figures_are_in_seconds_and_ratios(data: dict[str, Any]) -> None:
    """A usual delay of 8.7 ms and a limit of 15 ms are 0.0087 and 0.015."""
    fibre = data["uplinks"][0]
    assert 0.0087 < fibre["delay"]["near"]["p50_s"] < 0.0097
    assert 0 < fibre["loss"]["near"] < 0.001
    variation, runs, voice = (fibre[part]["near"] for part in ("variation", "loss_runs", "voice"))
    assert 0.0004 < variation["jitter_s"] < 0.0007 < variation["pdv_p95_s"] < variation["pdv_p99_s"] < 0.005
    assert 1 <= runs["mean_length"] <= runs["longest"] <= runs["runs"]
    assert (90 < voice["r"] < 93.2062, 4.3 < voice["mos"] < 4.41, voice["codec"]) == (True, True, "g711-plc")
    delay = fibre["clauses"][2]
    assert (delay["limit"], delay["target"], delay["statistic"], delay["verdict"]) == (0.015, "near", "p95", "met")
    assert delay["value"] == fibre["delay"]["near"]["p95_s"]
    assert data["verdict"] == "breached"


def test_a_figure_that_is_infinite_is_null() -> None:
    """JSON has no infinity: a percentile that falls on unanswered probes and a bound without an end are null."""
    assert number(math.inf) is None
    assert "Infinity" not in made()
    assert "NaN" not in made()


def test_the_same_report_gives_the_same_bytes() -> None:
    """Two runs can be compared by their checksum."""
    assert made() == made()
