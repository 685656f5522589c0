"""From a configuration to what a report needs of it: lines, targets, promises with exact limits."""

from datetime import date
from decimal import Decimal
from fractions import Fraction
from zoneinfo import ZoneInfo

import pytest

from wanwatch.config import load
from wanwatch.core.account.calendar import month_span
from wanwatch.core.account.clauses import Promise
from wanwatch.core.account.credits import Rate, Step, Terms
from wanwatch.core.model import NS_PER_S
from wanwatch.report import Contract, Subject, TargetPlan, UplinkPlan, subject_of
from wanwatch.report.subject import DayTerms

TEXT = """
[site]
name = "harbour-lane"
timezone = "Europe/London"
locale = "de-ch"
data_dir = "data"

[[uplink]]
name = "fibre"
pin = { source = "10.20.0.11" }

[uplink.contract]
provider = "Example Fibre"
reference = "EX-0001"
starts = 2026-10-12
fee = "120.00 GBP"
credit = [{ below = "99.9%", share_of_fee = "5%" }]
credit_day = { amount = "8.00 GBP", after = 2, counts_out = ["our-side"] }
credit_cap = "50%"
clause = [
  { measure = "availability", at_least = "99.9%", counts_out = ["planned-work", "our-side"] },
  { measure = "repair", at_most = "24h" },
  { measure = "outages", at_most = 2 },
  { measure = "delay", target = "near", statistic = "p99.9", at_most = "15ms", hours = "08:00-18:30" },
  { measure = "delay-variation", target = "near", statistic = "p95", at_most = "3ms" },
  { measure = "loss", at_most = "0.1%" },
  { measure = "names", at_least = "99.5%" },
  { measure = "speed-down", floor = "450Mbps" },
  { measure = "speed-down", usual = "810Mbps", share = "90%", hours = "20:00-22:00" },
  { measure = "failover", at_most = "90s" },
]

[[uplink]]
name = "copper"
pin = { source = "10.20.0.12" }

[[target]]
name = "near"
echo = "192.0.2.1"

[[target]]
name = "far"
echo = "198.51.100.1"
every = "2m"
timeout = "5s"
uplinks = ["copper"]
"""


@pytest.fixture(scope="module")
def subject(tmp_path_factory: pytest.TempPathFactory) -> Subject:
    """The configuration above, read from a file."""
    path = tmp_path_factory.mktemp("office") / "wanwatch.toml"
    path.write_text(TEXT, "utf-8")
    return subject_of(load(path), note="n")


def promises(subject: Subject) -> tuple[Promise, ...]:
    (contract,) = subject.uplinks[0].contracts
    return contract.promises


def test_site_and_lines_come_over_in_order_of_preference(subject: Subject) -> None:
    """With the targets that each is asked through, and no contract where none is."""
    assert (subject.site, subject.timezone, subject.note) == ("harbour-lane", "Europe/London", "n")
    assert subject.locale == "de-CH"
    assert subject.pen.decimal(1234.5, 1) == "1'234.5"
    assert [(u.name, not u.contracts, [t.name for t in u.targets]) for u in subject.uplinks] == [
        ("fibre", False, ["near"]),
        ("copper", True, ["near", "far"]),
    ]
    far = subject.uplinks[1].target("far")
    assert far is not None
    assert far.timeout_ns == 5 * NS_PER_S
    assert subject.uplinks[0].target("far") is None


def test_every_clause_becomes_a_promise_with_an_exact_limit(subject: Subject) -> None:
    """In base units: ratios, seconds, counts, bits a second; nothing is rounded on the way."""
    assert [(p.measure, p.limit, p.at_least, p.text) for p in promises(subject)] == [
        ("availability", Fraction("0.999"), True, "at least 99.9%"),
        ("repair", 86_400, False, "at most 24 h"),
        ("outages", 2, False, "at most 2"),
        ("delay", Fraction("0.015"), False, "p99.9 at most 15 ms, 08:00 to 18:30"),
        ("delay-variation", Fraction("0.003"), False, "p95 at most 3 ms"),
        ("loss", Fraction("0.001"), False, "at most 0.1%"),
        ("names", Fraction("0.995"), True, "at least 99.5%"),
        ("speed-down", Fraction("0.95"), True, "floor 450Mbps in 95% of tests"),
        ("speed-down", Fraction("0.9"), True, "usual 810Mbps in 90% of tests, 20:00 to 22:00"),
        ("failover", 90, False, "at most 90 s"),
    ]


def test_what_narrows_a_clause_comes_over(subject: Subject) -> None:
    """Target, statistic, hours, and what is counted out."""
    available, _, _, delay, *_ = promises(subject)
    assert available.counts_out == {"planned-work", "our-side"}
    assert (delay.target, delay.statistic, delay.hours_min) == ("near", "p99.9", (480, 1110))


def test_what_is_owed_comes_over_exactly(subject: Subject) -> None:
    """Fee, steps, days of an outage and the cap, in decimal and whole fractions."""
    (contract,) = subject.uplinks[0].contracts
    assert contract.terms == Terms(
        fee=Decimal("120.00"),
        currency="GBP",
        steps=(Step(Fraction("0.999"), Fraction("0.05")),),
        rates=(Rate(date.min, Decimal("8.00")),),
        cap=Fraction(1, 2),
    )
    assert contract.days == DayTerms(after=2, counts_out=frozenset({"our-side"}))


def test_the_contract_of_an_instant_is_the_one_in_force(subject: Subject) -> None:
    """It begins with the first midnight of the 12th of October in London, an hour before UTC's."""
    plan, begins = subject.uplinks[0], 1_791_759_600 * NS_PER_S
    assert plan.contract_at(begins - 1, subject.zone) is None
    assert plan.contract_at(begins, subject.zone) is plan.contracts[0]


def test_a_contract_covers_its_own_days_of_a_month() -> None:
    """From the first local midnight to the last one after its last day."""
    zone = ZoneInfo("Europe/London")
    october = month_span(2026, 10, zone)
    contract = Contract(provider="Example Fibre", starts=date(2026, 10, 12), ends=date(2026, 10, 25))
    (span,) = contract.in_force(october, zone)
    assert span.length_ns == (14 * 24 + 1) * 3600 * NS_PER_S
    assert Contract(provider="Example Fibre").in_force(october, zone) == (october,)
    always = Contract(provider="Example Fibre", starts=date.min, ends=date.max)
    assert always.in_force(october, zone) == (october,)
    assert Contract(provider="Example Fibre", ends=date(2026, 9, 30)).in_force(october, zone) == ()


@pytest.mark.parametrize(("every_s", "reach"), [(1, 1), (30, 1), (45, 2), (60, 3), (120, 4)])
def test_a_minute_with_a_probe_speaks_for_the_interval_between_probes(every_s: int, reach: int) -> None:
    """The target that is asked most often counts, and a probe that slips into the next minute leaves no hole."""
    plans = [TargetPlan(name=str(n), every_ns=n * NS_PER_S, timeout_ns=1) for n in (every_s, 600)]
    assert UplinkPlan(name="fibre", targets=tuple(plans)).reach_minutes == reach
