"""pytest plugin: with `--no-skips` a skip is a failure, whether of a test or of a whole module.

A skip says that something was not looked at. Where everything is installed, that must not pass unseen.
An expected failure (xfail) is no skip: that test ran.
"""

from typing import Any

import pytest


def pytest_addoption(parser: pytest.Parser) -> None:
    """Adds `--no-skips`."""
    parser.addoption("--no-skips", action="store_true", default=False, help="a skipped test is a failed one")


def _fail_if_skipped(report: Any, config: pytest.Config) -> None:
    if not config.getoption("no_skips") or report.outcome != "skipped" or hasattr(report, "wasxfail"):
        return
    where_and_why = report.longrepr
    reason = where_and_why[2] if isinstance(where_and_why, tuple) else str(where_and_why)
    report.outcome = "failed"
    report.longrepr = f"{report.nodeid} was skipped, and --no-skips forbids that. {reason}"


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item, call: pytest.CallInfo[None]):
    """A skipped test."""
    report = yield
    _fail_if_skipped(report, item.config)
    return report


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report(collector: pytest.Collector):
    """A skipped module."""
    report = yield
    _fail_if_skipped(report, collector.config)
    return report
