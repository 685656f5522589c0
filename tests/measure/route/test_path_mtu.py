"""The search for the path MTU, against paths that are known."""

from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wanwatch.measure.route.path_mtu import Fate, Told, search
from wanwatch.measure.route.protocol import Mtu


def path(mtu: int, *, says: bool, names: int | None = None) -> tuple[Callable[[int], Told], list[int]]:
    """A path that carries *mtu* bytes, and either says so of larger packets (naming a size) or swallows them."""
    asked: list[int] = []

    def fate(size: int) -> Told:
        asked.append(size)
        if size <= mtu:
            return Told(Fate.PASSED)
        return Told(Fate.TOO_BIG, mtu if names is None else names, "192.0.2.1") if says else Told(Fate.VANISHED)

    return fate, asked


def test_a_path_that_carries_all_needs_two_questions() -> None:
    """The smallest, to know that anything passes, and the largest."""
    fate, asked = path(1500, says=True)
    assert search(fate, 576, 1500) == Mtu(1500, limited=False, black_hole=False)
    assert asked == [576, 1500]


def test_the_size_that_a_router_names_is_tried_next() -> None:
    """RFC 1191 section 4: the next hop's MTU comes with the refusal, so no search is needed; one more proves it."""
    fate, asked = path(1492, says=True)
    assert search(fate, 576, 1500) == Mtu(1492, limited=True, black_hole=False, told_by=("192.0.2.1",))
    assert asked == [576, 1500, 1492, 1493]


@pytest.mark.parametrize("names", [0, 68, 1400, 9000])
def test_a_router_that_names_no_size_or_a_wrong_one_does_not_mislead(names: int) -> None:
    """Old routers name 0 (RFC 1191 section 5); what counts is what passes."""
    fate, _ = path(1438, says=True, names=names)
    assert search(fate, 576, 1500) == Mtu(1438, limited=True, black_hole=False, told_by=("192.0.2.1",))


def test_packets_that_vanish_without_a_word_are_a_black_hole() -> None:
    """RFC 2923 section 2.1; the size that passes is found all the same (RFC 8899)."""
    fate, _ = path(1400, says=False)
    assert search(fate, 576, 1500) == Mtu(1400, limited=True, black_hole=True)


def test_a_black_hole_behind_an_honest_router_is_told() -> None:
    """One router says 1492, and behind it everything above 1400 vanishes."""

    def fate(size: int) -> Told:
        if size > 1492:
            return Told(Fate.TOO_BIG, 1492, "192.0.2.1")
        return Told(Fate.PASSED if size <= 1400 else Fate.VANISHED)

    assert search(fate, 576, 1500) == Mtu(1400, limited=True, black_hole=True, told_by=("192.0.2.1",))


def test_a_target_that_never_answers_gives_no_figure() -> None:
    """Nothing passed, so nothing was measured."""
    assert search(lambda _: Told(Fate.VANISHED), 576, 1500) == Mtu(None, limited=False, black_hole=False)


@given(mtu=st.integers(576, 9216), says=st.booleans(), names=st.none() | st.integers(0, 70_000))
def test_the_search_finds_any_limit_and_ends(mtu: int, names: int | None, *, says: bool) -> None:
    """Fourteen halvings find one of 8641 sizes; a router may spoil two of them each time, and never the result."""
    fate, asked = path(mtu, says=says, names=names)
    found = search(fate, 576, 9216)
    assert found.size == mtu
    assert found.black_hole == (mtu < 9216 and not says)
    assert len(asked) <= 3 * 14 + 2
