"""The story is in order, and its truths follow from what it does."""

from itertools import pairwise

from wanwatch.core.model import EventKind
from wanwatch.demo.office import QUIET, Scene, loss_ratio
from wanwatch.demo.story import STORY, TRUTHS

SCENES: dict[str, Scene] = {}
_scene = QUIET
for _step in STORY:
    _scene = _step.change(_scene)
    SCENES[_step.name] = _scene
AT_S = {step.name: step.at_s for step in STORY}


def test_the_steps_are_in_order_of_time_and_have_names_of_their_own() -> None:
    """The story is played from top to bottom, from second 0."""
    assert STORY[0].at_s == 0
    assert all(before.at_s < after.at_s for before, after in pairwise(STORY))
    assert len(AT_S) == len(STORY)


def test_a_sentence_fits_a_terminal_of_eighty_columns() -> None:
    """Two columns of seconds and speaker stand before it."""
    assert all(len(step.told) <= 80 - 18 for step in STORY), [len(step.told) for step in STORY]


def test_truths_lie_between_steps_that_exist() -> None:
    """Every truth begins before it ends."""
    for truth in TRUTHS:
        assert AT_S[truth.start] < AT_S[truth.end]


def test_the_outage_is_when_the_fibre_is_silent() -> None:
    """Silent exactly from the cut to the splice, and at no other step."""
    silent = [name for name, scene in SCENES.items() if scene.conditions["fibre"].silent]
    (outage,) = [truth for truth in TRUTHS if truth.kind is EventKind.OUTAGE]
    assert silent[0] == outage.start
    assert not SCENES[outage.end].conditions["fibre"].silent
    assert not any(scene.conditions["copper"].silent for scene in SCENES.values())


def test_the_impairment_is_when_the_fibre_loses_packets() -> None:
    """Lossy exactly between its two steps."""
    lossy = [name for name, scene in SCENES.items() if scene.conditions["fibre"].loss_ratio]
    (impairment,) = [truth for truth in TRUTHS if truth.kind is EventKind.IMPAIRMENT]
    assert lossy == [impairment.start]


def test_people_are_cut_off_exactly_while_ordinary_traffic_is_silent() -> None:
    """Each switch's interruption begins where ordinary traffic falls silent and ends where it is heard again."""
    silent = {name for name, scene in SCENES.items() if loss_ratio(scene, "127.0.0.1") == 1}
    switches = [truth for truth in TRUTHS if truth.cut_off is not None]
    assert {truth.cut_off for truth in switches} == silent
    assert not any(truth.end in silent for truth in switches)


def test_the_story_ends_as_it_began() -> None:
    """At the end the office is well again, so that the status page shows a good day."""
    assert SCENES[STORY[-1].name] == QUIET
