"""What holds for all tests: where everything must run, a skip is a failure."""

import os
from collections.abc import Generator
from itertools import chain

import pytest
from hypothesis import settings

# A gate has to say the same of the same tree; new examples are searched for on developers' machines.
settings.register_profile("gate", derandomize=True)
if os.environ.get("CI") == "true":
    settings.load_profile("gate")


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport() -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Fail what is skipped where WANWATCH_SKIPS=forbidden says that this machine can run every test."""
    report = yield
    if report.skipped and not hasattr(report, "wasxfail") and os.environ.get("WANWATCH_SKIPS") == "forbidden":
        report.outcome = "failed"
        report.longrepr = f"skipped, which is forbidden here: {report.longrepr}"
    return report


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Let tests that mostly wait do so while the lab's stories play, which mostly wait as well."""
    waiting = [item for item in items if item.get_closest_marker("waits")]
    others = [item for item in items if item not in set(waiting)]
    begins = next((at for at, item in enumerate(others) if "lab_stage" in getattr(item, "fixturenames", ())), 0)
    # The first test that asks for a story lets all of them begin.
    items[:] = chain(others[: begins + 1], waiting, others[begins + 1 :])
