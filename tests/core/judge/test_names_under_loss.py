"""Names over a line that loses packets: its losses are the line's, a dead resolver is a dead resolver.

Sources: the chance that a line which loses a share p of all questions loses n in a row is p to the power of n.
"""

import pytest

from tests.core.judge.test_stories import UPLINKS, copper, fibre
from tests.fakes.office import FOREVER, Office, full_questions, line_questions
from wanwatch.core.judge import SiteJudge
from wanwatch.core.model import EventKind, JudgeSettings, Kind, Question, Role


def questions() -> list[Question]:
    """As by default, with one resolver that is asked every other second."""
    others = [question for question in full_questions() if question.series.role is not Role.NAMES]
    return others + line_questions("fibre", ("resolver",), every_s=2.0, role=Role.NAMES, kind=Kind.DNS)


def lossy(ratio: float, chance: int, *, dead_from_s: float = FOREVER) -> list[EventKind]:
    """The kinds of events told in half an hour, a third of it lossy."""
    ways = {"fibre": fibre(losses=[(100.0, 700.0, ratio)]), "copper": copper()}
    judge = SiteJudge("harbour-lane", UPLINKS, questions(), JudgeSettings())
    told = Office(judge, ways, questions(), chance=chance, dead={"resolver": [(dead_from_s, FOREVER)]}).run(800)
    return [event.kind for event in told.events()]


@pytest.mark.parametrize("chance", range(6))
@pytest.mark.parametrize("ratio", [0.15, 0.25])
def test_a_line_that_loses_questions_is_no_failure_of_names(ratio: float, chance: int) -> None:
    """Three lost questions in a row come by chance every few minutes."""
    assert lossy(ratio, chance) == [EventKind.IMPAIRMENT]


@pytest.mark.parametrize("chance", range(3))
def test_a_dead_resolver_is_told_over_a_lossy_line_as_well(chance: int) -> None:
    """Patience ends."""
    assert EventKind.NAMES_FAILURE in lossy(0.25, chance, dead_from_s=400.0)
