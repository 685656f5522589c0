"""Clauses as promises: each has a name of its own and says when it counts."""

from collections.abc import Callable

from wanwatch.config import Config
from wanwatch.config.apart import told_apart
from wanwatch.config.promises import hours_of, names_of, promise_of

CLAUSES = """clause = [
  { measure = "availability", at_least = "99.9%" },
  { measure = "availability", at_least = "99.9%", counts_out = ["planned-work"] },
  { measure = "availability", at_least = "99.9%", within = "working-hours", per = "quarter" },
  { measure = "delay", target = "near", statistic = "p95", at_most = "15ms", hours = "20:00-22:00" },
  { measure = "speed-down", floor = "450Mbps" },
]
"""
FILE = """[site]
name = "harbour-lane"
data_dir = "data"
[[uplink]]
name = "fibre"
pin = { interface = "eth1" }
contract.provider = "Example Fibre"
"""
TARGET = """[[target]]
name = "near"
echo = "192.0.2.1"
"""


def test_no_two_promises_of_a_contract_have_one_name(read: Callable[[str], Config]) -> None:
    """Two that differ in what they count out only are numbered; and each says when it counts."""
    (contract,) = read(f"{FILE}contract.{CLAUSES}{TARGET}").uplinks[0].contracts
    promises = [promise_of(clause) for clause in contract.clauses]
    assert [(name, hours_of(one)) for name, one in zip(names_of(promises), promises, strict=True)] == [
        ("availability at least 99.9%", "always"),
        ("availability at least 99.9% (2)", "always"),
        ("availability at least 99.9%, in working time, over the quarter", "working-hours"),
        ("delay near p95 at most 15 ms, 20:00 to 22:00", "20:00-22:00"),
        ("speed-down floor 450Mbps in 95% of tests", "always"),
    ]


def test_names_are_told_apart_also_from_those_that_end_in_a_number() -> None:
    """Whoever writes `a (2)` does not get the name of a second `a`."""
    assert told_apart(["a", "a (2)", "a", "b", "a"]) == ("a", "a (2)", "a (3)", "b", "a (4)")
