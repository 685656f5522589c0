"""The house itself: every room has its card, and the README's lines are what CI runs."""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
PACKAGES = sorted((ROOT / "wanwatch").rglob("__init__.py"))


@pytest.mark.parametrize("init", PACKAGES, ids=lambda path: str(path.parent.relative_to(ROOT)))
def test_every_package_has_its_module_card(init: Path) -> None:
    """What comes in, what goes out, what it may import: a newcomer reads it first."""
    card = ast.get_docstring(ast.parse(init.read_text("utf-8"))) or ""
    for line in ("In: ", "Out: ", "Imports: "):
        assert f"\n{line}" in card, f"{init}: the card lacks a line {line!r}"


def test_every_folder_of_code_is_a_package() -> None:
    """A folder without a card would be left out of the wheel's story."""
    folders = {path.parent for path in (ROOT / "wanwatch").rglob("*.py")}
    assert folders == {path.parent for path in PACKAGES}


def test_the_newcomers_map_names_every_room() -> None:
    """What DEVELOPERS.md does not name, a newcomer has to search for."""
    drawn = (ROOT / "DEVELOPERS.md").read_text("utf-8").split("```")[1]
    rooms = [path for folder in (ROOT / "wanwatch", ROOT / "wanwatch" / "core") for path in folder.iterdir()]
    names = {path.name if path.is_file() else f"{path.name}/" for path in rooms if not path.name.startswith("__")}
    assert sorted(name for name in names if name not in drawn) == []


def test_ci_reads_its_test_line_out_of_the_readme() -> None:
    """The line exists, in the form that CI extracts, and it installs and tests."""
    readme = (ROOT / "README.md").read_text("utf-8")
    block = readme.split("<!-- tests -->")[1].split("```")[1]
    assert "pip install" in block
    assert "pytest" in block


@pytest.mark.parametrize(
    "path", sorted((ROOT / "tests").rglob("test_*.py")), ids=lambda path: str(path.relative_to(ROOT))
)
def test_every_test_says_which_rule_it_guards(path: Path) -> None:
    """The name is a sentence, the docstring is the rule."""
    nodes = ast.walk(ast.parse(path.read_text("utf-8")))
    tests = [
        node
        for node in nodes
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and node.name.startswith("test_")
    ]
    assert [node.name for node in tests if not ast.get_docstring(node)] == []
