"""Plugin: in CI, where everything a test could need is there, a skipped test is a failed one."""

from collections.abc import Generator

import pytest

from tests.surroundings import IN_CI


def _failed_if_skipped(report: pytest.TestReport | pytest.CollectReport) -> None:
    if IN_CI and report.outcome == "skipped" and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"skipped, which CI does not allow: {report.longrepr}"


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport() -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Allow no skipped test in CI."""
    report = yield
    _failed_if_skipped(report)
    return report


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report() -> Generator[None, pytest.CollectReport, pytest.CollectReport]:
    """Allow no skipped test file in CI."""
    report = yield
    _failed_if_skipped(report)
    return report
