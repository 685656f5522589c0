"""Each store that the contract suite is run against."""

from pathlib import Path

import pytest

from tests.fakes.clock import FakeClock
from tests.store.backends import Backend, SqliteBackend


@pytest.fixture
def told() -> list[str]:
    """Sentences that the store told."""
    return []


@pytest.fixture
def clock() -> FakeClock:
    """A clock at the start of a minute."""
    return FakeClock()


@pytest.fixture
def sqlite_backend(tmp_path: Path, told: list[str]) -> SqliteBackend:
    """The SQLite store, for what is its own."""
    return SqliteBackend(tmp_path, told.append)


@pytest.fixture(params=["sqlite"])
def backend(request: pytest.FixtureRequest, sqlite_backend: SqliteBackend) -> Backend:
    """Each store in turn; another one joins by a parameter here."""
    return {"sqlite": sqlite_backend}[request.param]
