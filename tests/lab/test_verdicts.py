"""Each trouble once or twice at an instant of chance; `python tests/lab/verdicts.py --runs 20` is the long form."""

from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor

import pytest

from tests.lab.stage import take_of
from tests.lab.trials import TRIALS
from tests.lab.verdicts import AT_ONCE, Score, tried

pytestmark = [pytest.mark.lab, pytest.mark.timeout(300)]

SEED = 11


@pytest.fixture(scope="module")
def playing() -> Iterator[dict[str, Future[Score]]]:
    """All trials, side by side."""
    with ThreadPoolExecutor(AT_ONCE) as pool:
        yield {trial.name: pool.submit(tried, trial, 1, SEED) for trial in TRIALS}


@pytest.mark.parametrize("name", [trial.name for trial in TRIALS])
def test_trouble_at_an_instant_of_chance_is_judged_right(
    name: str, playing: dict[str, Future[Score]], request: pytest.FixtureRequest
) -> None:
    """What is told is all that is right and nothing else, and the bounds of outages hold the truth."""
    trial = next(trial for trial in TRIALS if trial.name == name)
    score = playing[name].result() if take_of(request) == 1 else tried(trial, 1, SEED)
    assert score.misses == []
    assert score.right == score.rounds
