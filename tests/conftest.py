"""What holds for all tests: where everything must run, a skip is a failure."""

import os
from collections.abc import Generator

import pytest


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport() -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Fail what is skipped where WANWATCH_SKIPS=forbidden says that this machine can run every test."""
    report = yield
    if report.skipped and not hasattr(report, "wasxfail") and os.environ.get("WANWATCH_SKIPS") == "forbidden":
        report.outcome = "failed"
        report.longrepr = f"skipped, which is forbidden here: {report.longrepr}"
    return report
