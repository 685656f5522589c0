"""The programme of a drill, row by row, without waiting for anything."""

import pytest

from tests.core.drill.drills import PATIENCE, Office, after, announced
from wanwatch.core.drill import Drill, Said, Step, Word, follow, why_given_up
from wanwatch.core.drill.programme import ENDS, TABLE
from wanwatch.core.model import State


def at(step: Step, office: Office) -> Drill:
    """A drill that has come as far as *step*, on the usual way there."""
    drill = announced(office)
    way: tuple[tuple[Step, float, dict[str, object]], ...] = (
        (Step.STEADY, 0, {"said": Said.YES}),
        (Step.PULL, 3, {"said": Said.NOTHING}),
        (Step.MOVING, 2, {"fibre": State.DOWN}),
        (Step.SECOND, 2, {"carrying": "copper"}),
        (Step.RETURN, 5, {}),
        (Step.HOMING, 4, {"fibre": State.UP}),
        (Step.SETTLING, 3, {"carrying": "fibre"}),
        (Step.DONE, 2, {"settled": True}),
    )
    for expected, seconds, changes in way:
        if drill.step is step:
            break
        drill = after(drill, office, seconds, **changes)
        assert drill.step is expected
    return drill


def test_a_drill_goes_its_whole_way() -> None:
    """Each step is entered once, in order, and the second line is remembered."""
    drill = at(Step.DONE, Office())
    assert [passed.step for passed in drill.passed] == [step for step in Step if step is not Step.GIVEN_UP]
    assert drill.second == "copper"
    assert why_given_up(drill) is None


WAYS = [
    (Step.ANNOUNCED, {"said": Said.QUIT}, 1, Step.GIVEN_UP, Word.QUIT),
    (Step.ANNOUNCED, {"said": Said.YES}, 1, Step.STEADY, Word.YES),
    (Step.STEADY, {}, 3, Step.PULL, Word.STEADY),
    (Step.STEADY, {"copper": State.DOWN}, 1, Step.GIVEN_UP, Word.UNSTEADY),
    (Step.STEADY, {"carrying": "copper"}, 1, Step.GIVEN_UP, Word.UNSTEADY),
    (Step.STEADY, {"known": False}, 1, Step.GIVEN_UP, Word.UNSTEADY),
    (Step.PULL, {"fibre": State.DOWN}, 1, Step.MOVING, Word.GONE),
    (Step.PULL, {"fibre": State.UNOBSERVED}, 1, Step.MOVING, Word.GONE),
    (Step.PULL, {}, 20, Step.GIVEN_UP, Word.LATE),
    (Step.MOVING, {"carrying": "copper"}, 1, Step.SECOND, Word.MOVED),
    (Step.MOVING, {}, 10, Step.RETURN, Word.LATE),
    (Step.SECOND, {}, 5, Step.RETURN, Word.STAYED),
    (Step.SECOND, {"fibre": State.UP}, 1, Step.HOMING, Word.UP),
    (Step.RETURN, {"fibre": State.UP}, 1, Step.HOMING, Word.UP),
    (Step.RETURN, {"fibre": State.IMPAIRED}, 1, Step.HOMING, Word.UP),
    (Step.RETURN, {}, 20, Step.GIVEN_UP, Word.LATE),
    (Step.HOMING, {"carrying": "fibre"}, 1, Step.SETTLING, Word.BACK),
    (Step.HOMING, {}, 10, Step.SETTLING, Word.LATE),
    (Step.SETTLING, {"settled": True}, 1, Step.DONE, Word.SETTLED),
    (Step.SETTLING, {}, 6, Step.DONE, Word.LATE),
    (Step.SETTLING, {"said": Said.QUIT}, 1, Step.DONE, Word.QUIT),
    (Step.SETTLING, {"answers": False}, 4, Step.DONE, Word.UNSEEN),
]
IN_BETWEEN = [step for step in Step if step not in {*ENDS, Step.ANNOUNCED, Step.SETTLING}]


@pytest.mark.parametrize(("step", "changes", "seconds", "to", "word"), WAYS)
def test_each_word_leads_where_the_table_says(
    step: Step, changes: dict[str, object], seconds: float, to: Step, word: Word
) -> None:
    """What is seen becomes a word, and the word a step."""
    office = Office()
    drill = after(at(step, office), office, seconds, **changes)
    entered = drill.when(to)
    assert entered is not None
    assert entered.word is word
    assert TABLE[step][word] is to


@pytest.mark.parametrize("step", IN_BETWEEN)
def test_a_stop_by_hand_and_a_silent_daemon_give_it_up_anywhere(step: Step) -> None:
    """Nobody is held in a drill, and nothing is claimed that nobody watched."""
    for changes, seconds, why in (
        ({"said": Said.QUIT}, 0.1, "it was stopped by hand"),
        ({"answers": False}, 4, "the daemon fell silent"),
    ):
        office = Office()
        drill = after(at(step, office), office, seconds, **changes)
        assert drill.step is Step.GIVEN_UP
        assert why_given_up(drill) == why


def test_the_line_may_come_back_before_traffic_moved() -> None:
    """A plug that is put back too early ends in traffic that never left."""
    office = Office()
    drill = after(at(Step.MOVING, office), office, 1, fibre=State.UP)
    assert [passed.step for passed in drill.passed[-2:]] == [Step.HOMING, Step.SETTLING]
    assert drill.second is None


def test_a_quick_gateway_is_seen_once_the_line_is_judged() -> None:
    """Traffic that moved before the line was down takes two steps at once."""
    office = Office()
    drill = at(Step.PULL, office)
    drill = after(drill, office, 1, carrying="copper")
    assert drill.step is Step.PULL
    assert after(drill, office, 1, fibre=State.DOWN).step is Step.SECOND


def test_a_daemon_that_is_silent_for_a_breath_changes_nothing() -> None:
    """A slow answer is no end."""
    office = Office()
    drill = after(at(Step.SECOND, office), office, 2, answers=False)
    assert after(drill, office, 1, answers=True).step is Step.SECOND


def test_a_view_is_taken_in_once() -> None:
    """What a drill has made of a view, it makes once."""
    office = Office()
    drill = at(Step.SECOND, office)
    assert follow(drill, office.view()) == drill


def test_every_row_of_the_table_is_tried_above() -> None:
    """The rules are data; no row goes without its test."""
    tried = {(step, word) for step, _, _, _, word in WAYS}
    tried |= {(step, word) for step in IN_BETWEEN for word in (Word.QUIT, Word.UNSEEN)}
    tried.add((Step.MOVING, Word.UP))
    assert tried == {(step, word) for step, row in TABLE.items() for word in row}
    assert set(TABLE) == set(Step)


def test_no_drill_lasts_longer_than_its_patience() -> None:
    """However slow everybody is, an end comes."""
    office = Office()
    drill = at(Step.PULL, office)
    for changes in ({"fibre": State.DOWN}, {}, {"fibre": State.UP}, {}, {}):
        drill = after(drill, office, 0, **changes)
        limits = {Step.MOVING: 10, Step.RETURN: 19, Step.HOMING: 10, Step.SETTLING: 6}
        drill = after(drill, office, limits.get(drill.step, 0))
    assert drill.step is Step.DONE
    assert drill.passed[-1].view.at_ns <= PATIENCE.longest_ns
