"""A packet's fate follows from the scene and its source address."""

from dataclasses import replace

import pytest

from wanwatch.demo.office import COPPER, FIBRE, LINES, QUIET, Condition, fate, line_of, loss_ratio

UNPINNED = "127.0.0.1"


def never() -> float:
    """Chance that neither loses a packet nor delays it."""
    return 0.0


def test_a_lines_own_address_takes_that_line() -> None:
    """A pinned packet is known by its source address, whoever carries."""
    for carrying in (FIBRE.name, COPPER.name, None):
        scene = QUIET.carried_by(carrying)
        assert [line_of(scene, line.source) for line in LINES] == list(LINES)


@pytest.mark.parametrize(("carrying", "line"), [("fibre", FIBRE), ("copper", COPPER), (None, None)])
def test_ordinary_traffic_takes_the_carrying_line(carrying: str | None, line: object) -> None:
    """Any other source address follows whoever carries, or has no way out."""
    assert line_of(QUIET.carried_by(carrying), UNPINNED) == line


def test_a_silent_line_silences_its_own_packets_and_the_traffic_on_it() -> None:
    """A cut fibre says nothing, and ordinary traffic still sent into it gets no answer; copper goes on."""
    cut = QUIET.with_line("fibre", replace(FIBRE.usual, silent=True))
    assert [fate(cut, source, never) for source in (FIBRE.source, UNPINNED)] == [None, None]
    assert fate(cut, COPPER.source, never) == COPPER.usual.delay_s
    assert fate(cut.carried_by("copper"), UNPINNED, never) == COPPER.usual.delay_s


def test_without_a_line_nothing_passes() -> None:
    """Between two lines ordinary traffic is lost."""
    nowhere = QUIET.carried_by(None)
    assert fate(nowhere, UNPINNED, never) is None
    assert [loss_ratio(nowhere, source) for source in (UNPINNED, FIBRE.source)] == [1.0, 0.0]


@pytest.mark.parametrize(("chance", "delay_s"), [(0.2499, None), (0.25, pytest.approx(0.01 + 0.002 * 0.28768207))])
def test_loss_and_delay_follow_chance(chance: float, delay_s: object) -> None:
    """A packet is lost where chance falls below the ratio; the spread is exponential: -ln(1 - 0.25) = 0.28768."""
    scene = QUIET.with_line("fibre", Condition(delay_s=0.01, spread_s=0.002, loss_ratio=0.25))
    assert fate(scene, FIBRE.source, lambda: chance) == delay_s


def test_a_queue_has_an_end() -> None:
    """The rarest chance delays a packet by five times the mean, not for ever."""
    scene = QUIET.with_line("fibre", Condition(delay_s=0.01, spread_s=0.002))
    assert fate(scene, FIBRE.source, lambda: 1.0 - 2**-53) == pytest.approx(0.02)


def test_a_good_day_has_no_loss() -> None:
    """Both lines are well at first, and the preferred one carries."""
    assert all(not condition.silent and condition.loss_ratio == 0 for condition in QUIET.conditions.values())
    assert QUIET.carrying == LINES[0].name
