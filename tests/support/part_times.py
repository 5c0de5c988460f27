"""pytest plugin: what each folder of tests took, and the preparation before them.

Printed before pytest's own last line. With two workers the sum of the parts is more than the clock.
"""

import os
import time
from collections import Counter
from pathlib import PurePosixPath
from typing import Any

import pytest

STARTED_AT = "SECONDPROBE_TESTS_STARTED_AT"


def part_of(nodeid: str) -> str:
    """The folder below tests/ that a test lies in."""
    folders = PurePosixPath(nodeid.split("::")[0]).parts[:-1]
    return "/".join(folders[:2]) or "."


class PartTimes:
    """Adds up what pytest reports."""

    def __init__(self) -> None:
        self.seconds: Counter[str] = Counter()
        self.tests: Counter[str] = Counter()
        self.began = time.time()

    def pytest_runtest_logreport(self, report: Any) -> None:
        """One phase (setup, call, teardown) of one test."""
        part = part_of(report.nodeid)
        self.seconds[part] += report.duration
        if report.when == "setup":
            self.tests[part] += 1

    def pytest_terminal_summary(self, terminalreporter: Any) -> None:
        """The table."""
        if not self.tests:
            return
        terminalreporter.section("time of each part")
        before = self.began - float(os.environ.get(STARTED_AT, self.began))
        if before > 1:
            terminalreporter.write_line(f"{'environment':<24}{before:8.1f} s")
        for part in sorted(self.tests):
            terminalreporter.write_line(f"{part:<24}{self.seconds[part]:8.1f} s  {self.tests[part]} tests")
        terminalreporter.write_line(f"{'by the clock':<24}{time.time() - self.began + before:8.1f} s")


def pytest_configure(config: pytest.Config) -> None:
    """Once, in the process that reports."""
    if not hasattr(config, "workerinput"):
        config.pluginmanager.register(PartTimes(), "part-times")
