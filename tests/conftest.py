"""What holds for all tests: in what order and by whom they run, and that a skip is a failure where all must run."""

import os
from collections.abc import Generator
from typing import Any, Final

import pytest
from hypothesis import settings
from xdist.scheduler.loadscope import LoadScopeScheduling

# A gate has to say the same of the same tree; new examples are searched for on developers' machines. No test times
# anything, so a busy machine fails none.
settings.register_profile("search", deadline=None)
settings.register_profile("gate", parent=settings.get_profile("search"), derandomize=True)
settings.load_profile("gate" if os.environ.get("CI") == "true" else "search")

BESIDE: Final = ("store", "config", "core", "report", "standards")
"""Folders of tests that do not care how long a second is: they run beside the others, on what these leave of it all."""

SECOND: Final = ("accept", "browser", "demo", "drill")
"""Folders of tests that cannot wait, but go well beside those of sockets and the daemon, before the lab plays."""


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport() -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Fail what is skipped where WANWATCH_SKIPS=forbidden says that this machine can run every test."""
    report = yield
    if report.skipped and not hasattr(report, "wasxfail") and os.environ.get("WANWATCH_SKIPS") == "forbidden":
        report.outcome = "failed"
        report.longrepr = f"skipped, which is forbidden here: {report.longrepr}"
    return report


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Let the lab come last: its stories take all of the machine.

    What minds how long a second is may try twice, since a machine may be busy with something else just then. A fault
    of ours fails both times, and the run's end names the second tries.
    """
    items.sort(key=lambda item: _turn(item.nodeid))
    for item in items:
        if _folder(item.nodeid) not in BESIDE:
            item.add_marker(pytest.mark.flaky(reruns=1))


def _turn(nodeid: str) -> int:
    folder = _folder(nodeid)
    return BESIDE.index(folder) if folder in BESIDE else len(BESIDE) + (folder == "lab")


def _folder(nodeid: str) -> str:
    return nodeid.split("/")[1]


def pytest_xdist_auto_num_workers() -> int:
    """Return three: two of them wait for something most of the time, and the third takes what they leave."""
    return 3


class _Beside(LoadScopeScheduling):  # type: ignore[misc]  # xdist has no types
    """Gives the lab and what leads up to it to one worker, what goes well beside that to the next, each as one piece.

    The rest is given away one test at a time.
    """

    def _split_scope(self, nodeid: str) -> str:
        folder = _folder(nodeid)
        return nodeid if folder in BESIDE else "beside" if folder in SECOND else "the lab"


def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> LoadScopeScheduling:
    """Say who runs what where several workers were asked for: the greatest piece of work is given away first."""
    return _Beside(config, log)


def pytest_runtest_setup(item: pytest.Item) -> None:
    """Let a worker whose tests can wait give way to the one that measures, whose work was given away first."""
    if "PYTEST_XDIST_WORKER" in os.environ and _folder(item.nodeid) in BESIDE:
        os.setpriority(os.PRIO_PROCESS, 0, 19)
