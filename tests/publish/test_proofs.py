"""Proofs of pins as a person reads them."""

import pytest

from wanwatch.core.model import Json, PinChanged
from wanwatch.core.proof_row import ProofRow
from wanwatch.core.way import Nat
from wanwatch.publish import Metrics
from wanwatch.publish.proofs import pin_says, proofs_text, routes_text


def row(name: str, *, proved: bool | None, nat: Nat = Nat.ONCE, other: str | None = None, **more: object) -> ProofRow:
    held = PinChanged(name, proved, nat, other)
    known = {"interface": "lan0", "gateway": "10.20.0.1", "public": "198.51.100.10", "hops": ("198.51.100.1", None)}
    return ProofRow(held=held, **known | more)  # type: ignore[arg-type]


def test_a_table_shows_what_each_pin_showed() -> None:
    """One row an uplink, a star for a router that kept silent, a dash for what is not known."""
    text = proofs_text(
        [
            row("fibre", proved=True, mtus=("1500",)),
            row("copper", proved=None, nat=Nat.UNKNOWN, gateway=None, public=None, hops=(), gaps=("no answer",)),
        ]
    )
    assert text.splitlines()[:3] == [
        "uplink  interface  gateway    public address  first hops      translated  path MTU  proved",
        "fibre   lan0       10.20.0.1  198.51.100.10   198.51.100.1 *  once        1500      yes",
        "copper  lan0       -          -               -               unknown     -         cannot tell",
    ]
    assert "- copper: no answer" in text.splitlines()


def test_nothing_is_said_below_a_table_where_all_is_well() -> None:
    """Whoever reads it looks for trouble there."""
    assert len(proofs_text([row("fibre", proved=True), row("copper", proved=True)]).splitlines()) == 3


@pytest.mark.parametrize(
    ("proved", "nat", "words"),
    [
        (True, Nat.ONCE, ""),
        (None, Nat.NONE, ""),
        (False, Nat.ONCE, "fibre: its pinned probes leave by copper, so nothing"),
        (True, Nat.CARRIER, "fibre: the provider translates its addresses for many customers"),
        (True, Nat.DOUBLE, "fibre: addresses are translated twice"),
    ],
)
def test_a_pin_is_told_in_words_with_the_mend(nat: Nat, words: str, *, proved: bool | None) -> None:
    """One that is proved and reaches out plainly needs no word."""
    said = pin_says(PinChanged("fibre", proved, nat, "copper"))
    assert said.startswith(words)
    assert bool(said) == bool(words)


def test_what_is_wrong_and_what_was_not_measured_are_told_apart() -> None:
    """They have exit codes of their own."""
    assert not row("fibre", proved=True).wrong
    assert not row("fibre", proved=True).unmeasured
    assert row("fibre", proved=False).wrong
    assert row("fibre", proved=True, faults=("a black hole",)).wrong
    assert row("fibre", proved=None).unmeasured
    assert row("fibre", proved=True, gaps=("no answer",)).unmeasured


def test_changes_of_route_are_listed_in_the_site_s_time() -> None:
    """The latest five; what is no change is not shown as one."""
    change: Json = {
        "at_unix_ns": 1_784_000_000_000_000_000,
        "uplink": "fibre",
        "before": ["10.20.0.1", None],
        "after": [],
    }
    text = routes_text([3, *[change] * 7], "Europe/London")
    assert text.count("- 2026-07-14 04:33:20+01:00  fibre: 10.20.0.1 * became ") == 5
    assert routes_text([], "Europe/London") == ""


def test_the_metric_of_a_pin_is_absent_until_something_tells() -> None:
    """A 0 would claim that it is broken, a 1 that it holds."""
    metrics = Metrics("harbour-lane", "1.2.3")
    metrics.follow(("fibre",))
    told = []
    for proved in (None, True, False, None):
        metrics.pin(PinChanged("fibre", proved, Nat.ONCE))
        labels = {"site": "harbour-lane", "uplink": "fibre"}
        told.append(metrics.registry.get_sample_value("wanwatch_pin_proved", labels))
    assert told == [None, 1.0, 0.0, None]
    metrics.pin(PinChanged("fibre", True, Nat.ONCE))  # noqa: FBT003
    metrics.follow(())
    assert metrics.registry.get_sample_value("wanwatch_pin_proved", labels) is None
