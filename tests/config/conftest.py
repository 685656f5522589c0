"""A configuration that is right, to be spoilt by tests."""

import os
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from wanwatch.config import Config, ConfigError, load

RIGHT = (Path(__file__).parent / "right.toml").read_text("utf-8")


@pytest.fixture
def right() -> str:
    """Return the text of a configuration without mistakes."""
    return RIGHT


@pytest.fixture
def read(tmp_path: Path) -> Callable[[str], Config]:
    """Return a function that loads a file with the given text."""

    def load_text(text: str) -> Config:
        file = tmp_path / "wanwatch.toml"
        file.write_text(text, "utf-8")
        return load(file, {})

    return load_text


@pytest.fixture
def mistakes(read: Callable[[str], Config]) -> Callable[[str], list[str]]:
    """Return a function that gives the lines of the mistakes in a text; none if it loads."""

    def told(text: str) -> list[str]:
        try:
            read(text)
        except ConfigError as error:
            return str(error).splitlines()
        return []

    return told


@pytest.fixture
def nobody() -> Iterator[None]:
    """Act as a user without rights while the test runs; a tester who is not root is one already."""
    user = os.geteuid()
    if user == 0:
        os.seteuid(65534)
    yield
    os.seteuid(user)
