"""What a month's report says of how the resolvers resolve."""

import json
from typing import Any

import pytest

from tests.fakes.month import PERIOD, SITE, SUBJECT, build_month, record, reported
from wanwatch.core.resolving import Findings, Ledger, Sign, ledger_key
from wanwatch.report.as_json import render_json
from wanwatch.report.html import render_html
from wanwatch.report.values import MonthReport


@pytest.fixture(scope="module")
def report() -> MonthReport:
    """A month with three inspections: one resolver rewrote in two of them, the other never did."""
    bad = Findings(rewriting=Sign.YES, sure=True, validates=Sign.NO, differs_on=("www.example.com",))
    good = Findings(rewriting=Sign.NO, sure=False, validates=Sign.YES, differs_on=("www.example.com",))
    quiet = Findings(rewriting=Sign.UNDECIDED, sure=False, validates=None, differs_on=())
    ledger = Ledger()
    for first in (bad, good, bad):
        ledger.add(
            {("fibre", "192.0.2.53"): first, ("fibre", "tls://192.0.2.54"): good, ("copper", "192.0.2.55"): quiet}
        )
    fake = record(every_s=60)
    fake.notes[ledger_key(2026, 10)] = ledger.to_json()
    fake.notes[ledger_key(2026, 11)] = "another month's"
    return build_month(fake, SUBJECT, 2026, 10, PERIOD.end_unix_ns)


def test_programs_find_the_verdicts_beside_the_figures_of_each_resolver(report: MonthReport) -> None:
    """Once rewritten is rewritten, once not validated is not validated; what nobody asked is null."""
    fibre, copper = json.loads(render_json(report))["uplinks"]
    expected: dict[str, Any] = {
        "192.0.2.53": {
            "inspections": 3,
            "rewriting": "yes",
            "rewrote": 2,
            "sure": True,
            "validates": "no",
            "differed_on": {"www.example.com": 3},
        },
        "tls://192.0.2.54": {
            "inspections": 3,
            "rewriting": "no",
            "rewrote": 0,
            "sure": False,
            "validates": "yes",
            "differed_on": {"www.example.com": 3},
        },
    }
    assert fibre["resolving"] == expected
    assert copper["resolving"]["192.0.2.55"]["rewriting"] == "undecided"
    assert copper["resolving"]["192.0.2.55"]["validates"] is None


def test_people_find_them_in_words(report: MonthReport) -> None:
    """No verdict and not asked are two different things."""
    page = render_html(report)
    for text in ("How the resolvers resolve", "one address for two names", "no verdict", "not asked", "no name"):
        assert text in page


def test_a_month_without_inspections_shows_no_empty_table() -> None:
    """A site that does not watch names, or a month before it did."""
    report = reported()
    assert report.site == SITE
    assert all(uplink.resolving == () for uplink in report.uplinks)
    assert "How the resolvers resolve" not in render_html(report)
