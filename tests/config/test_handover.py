"""The file of what an installer hands over: what it may hold, and how mistakes in it are told."""

import hashlib
import re
from pathlib import Path

import pytest

from wanwatch.accept.person import QUESTIONS
from wanwatch.config.handover import HandoverError, HandoverTable, load_handover
from wanwatch.core.acceptance import Handover, Photograph

ROOT = Path(__file__).parents[2]
EXAMPLE = ROOT / "examples" / "handover.toml"
KEYS = [field.alias or name for name, field in HandoverTable.model_fields.items()]


def mistakes(folder: Path, text: str) -> list[str]:
    """What is told of a file, without its own name."""
    file = folder / "handover.toml"
    file.write_text(text)
    with pytest.raises(HandoverError) as told:
        load_handover(file)
    return [line.removeprefix(f"{file}: ") for line in str(told.value).splitlines()]


def test_the_example_is_fit_to_use_and_shows_every_key() -> None:
    """Whoever hands a line over begins with it."""
    assert load_handover(EXAMPLE).light_dbm == -18.4
    shown = set(re.findall(r"^(?:# )?([a-z_]+) = ", EXAMPLE.read_text("utf-8"), re.MULTILINE))
    assert shown | {"split"} == set(KEYS)


def test_every_key_is_asked_for_at_a_terminal_and_described_in_the_reference() -> None:
    """Keys are public: one that is not described is not there for anyone."""
    assert list(QUESTIONS) == KEYS
    written = re.findall(r"^\| `([a-z_]+)` \|", (ROOT / "examples" / "README.md").read_text("utf-8"), re.MULTILINE)
    assert set(KEYS) <= set(written)


def test_photographs_are_kept_by_name_size_and_digest(tmp_path: Path) -> None:
    """FIPS 180-4: SHA-256 of "abc", and names from the folder of the file."""
    (tmp_path / "terminal.jpg").write_bytes(b"abc")
    (tmp_path / "handover.toml").write_text('photographs = ["terminal.jpg"]\nsplit = 32')
    digest = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert digest == hashlib.sha256(b"abc").hexdigest()
    found = load_handover(tmp_path / "handover.toml")
    assert found == Handover(split=32, photographs=(Photograph("terminal.jpg", 3, digest),))


def test_every_mistake_is_told_at_once_with_what_to_write_instead(tmp_path: Path) -> None:
    """Thing, value, reason, mend."""
    text = """
light_level = -18.4
wavelength = "1.49um"
medium = "string"
splices = -1
splice = 2
photographs = ["nowhere.jpg"]
"""
    assert mistakes(tmp_path, text) == [
        "medium = 'string': not one of the words for this; write 'fibre', 'copper' or 'radio'",
        'light_level = -18.4: a level needs its unit; write it as text with a unit, such as "-18.4dBm"',
        "wavelength = '1.49um': not a wavelength; write whole nanometres, such as \"1490nm\"",
        "splices = -1: too small; write at least 0",
        "photographs[0] = 'nowhere.jpg': there is no such file; write its name as seen from the folder of this file",
        "splice: there is no such key; did you mean 'splices'?",
    ]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("light_level = ", "file: not TOML"),
        ('light_level = "18"', 'not a level; write a number between -100 and 100 and dBm, such as "-18.4dBm"'),
        ('photographs = ["/dev/zero"]', "there is no such file"),
        ("photographs = [3]", "not the name of a file"),
        ('length = "350"', "not a length"),
        ('bend_radius = "0mm"', "a length is more than nothing"),
        ('duplex = "both"', "write 'full' or 'half'"),
    ],
)
def test_each_kind_of_mistake_has_its_own_words(tmp_path: Path, text: str, said: str) -> None:
    """A person who holds a ladder with the other hand reads one line."""
    (told,) = mistakes(tmp_path, text)
    assert said in told


def test_a_file_that_cannot_be_read_is_told_with_its_name(tmp_path: Path) -> None:
    """Not there, or not text."""
    with pytest.raises(HandoverError, match=r"nowhere\.toml: file: cannot be read: No such file or directory"):
        load_handover(tmp_path / "nowhere.toml")
    (tmp_path / "handover.toml").write_bytes(b"\xff")
    with pytest.raises(HandoverError, match="not UTF-8 text"):
        load_handover(tmp_path / "handover.toml")


def test_a_minus_sign_as_people_print_it_is_one() -> None:
    """U+2212, as a meter's manual or a word processor has it."""
    assert HandoverTable.model_validate({"light_level": "\N{MINUS SIGN}18.4 dBm"}).light_level == -18.4
