"""Somebody at a terminal, or nobody: what is asked, and what comes of the answers."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from tests.fakes.acceptance import GIVEN
from wanwatch.accept.person import QUESTIONS, Person
from wanwatch.core.acceptance import Handover


def at_a_terminal(*answers: str) -> tuple[Person, list[str]]:
    """Somebody who gives these answers and then skips all, with what was said to them."""
    said: list[str] = []
    left = iter(answers)

    def ask(question: str) -> str:
        said.append(question)
        return next(left, "")

    return Person(ask, said.append), said


def test_only_what_is_missing_is_asked_for() -> None:
    """A file comes first, and nobody types what stands in it."""
    person, said = at_a_terminal("32")
    assert person.handover(replace(GIVEN, split=None)) == replace(GIVEN, split=32)
    assert said[1:] == [QUESTIONS["split"][0]]


def test_answers_are_read_as_the_file_would_be(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The same units, and the same words for mistakes, until an answer fits."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "a.jpg").write_bytes(b"abc")
    person, said = at_a_terminal(
        "fibre", "EX-1", "yes", "1Gbps", "full", "18", "-18.4dBm", "1490nm", "B+", "", "350m", "2", "2", "32",
        "G.657.A2", "15mm", "nowhere.jpg, a.jpg", "a.jpg",
    )  # fmt: skip
    found = person.handover(Handover())
    assert [one.name for one in found.photographs] == ["a.jpg"]
    assert replace(found, photographs=()) == replace(GIVEN, circuit="EX-1", entering_dbm=None, split=32, photographs=())
    assert any("not a level" in line for line in said)
    assert any("there is no such file" in line for line in said)


def test_on_copper_nobody_is_asked_about_light() -> None:
    """There is none."""
    person, said = at_a_terminal("copper")
    person.handover(Handover())
    asked = {key for key, (question, _) in QUESTIONS.items() if question in said}
    assert asked == {key for key, (_, about_light) in QUESTIONS.items() if not about_light}


def test_what_only_looks_like_a_number_is_asked_for_again() -> None:
    """Unicode calls a raised two a digit, and no whole number is written with it."""
    person, said = at_a_terminal("\N{SUPERSCRIPT TWO}", "32")
    assert person.handover(replace(GIVEN, split=None)).split == 32
    assert "  not a whole number; write a whole number without quotes" in said


def test_a_full_stop_ends_the_questions_and_keeps_the_answers() -> None:
    """Whoever stands in the rain answers what is at hand."""
    person, said = at_a_terminal("fibre", "EX-1", ".")
    assert person.handover(Handover()) == Handover(medium="fibre", circuit="EX-1")
    assert len(said) == 1 + 3


def test_where_nobody_is_nothing_is_asked_and_nothing_agreed_to() -> None:
    """A script is never taken for a yes."""
    nobody = Person(None, print)
    assert nobody.handover(Handover()) == Handover()
    assert not nobody.here
    assert not nobody.rehearses()
    assert not nobody.agrees()


@pytest.mark.parametrize(
    ("answer", "rehearses", "agrees"), [("yes", True, True), ("y", True, False), ("", False, False)]
)
def test_a_drill_takes_the_word_itself(answer: str, *, rehearses: bool, agrees: bool) -> None:
    """To be asked may be a letter; to cut people off is not."""
    asked: list[Callable[[Person], bool]] = [Person.rehearses, Person.agrees]
    assert [ask(at_a_terminal(answer)[0]) for ask in asked] == [rehearses, agrees]
