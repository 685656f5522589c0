"""Judging in pieces is judging in one go."""

from hypothesis import given
from hypothesis import strategies as st

from tests.core.judge.test_properties import SLOW, SPELLS, Spell, judged, last_told, samples


@SLOW
@given(SPELLS, st.lists(st.integers(0, 4000), max_size=12))
def test_judging_in_one_go_and_in_any_cut_gives_the_same_events(spells: list[Spell], cuts: list[int]) -> None:
    """Samples may be handed over in pieces of any size, each after its piece of time has passed."""
    told = samples(spells)
    ends = {cut for cut in cuts if cut < len(told)}
    assert last_told(judged(told)) == last_told(judged(told, [told[end].known_ns for end in ends]))
