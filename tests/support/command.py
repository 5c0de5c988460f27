"""What `python3 tests` does: the arguments, what has to be there, and how pytest is called.

Standard library only up to the point where the project's own Python has taken over.
"""

import argparse
import os
import runpy
import sys
import time
from pathlib import Path

from demo.debian import ensure
from demo.environment import LOGS, ROOT, enter
from demo.steps import StepFailed, say_line

TESTS = ROOT / "tests"
LOAD = TESTS / "load"
WORKERS = 2
NEEDS = {
    "chromium": "chromium",  # the browser
    "ngspice": "ngspice",  # an independent circuit simulator
    "/usr/share/kicad/demos": "kicad-demos",  # board files of KiCad's own, 3 MB to fetch
    "certutil": "libnss3-tools",  # puts a shop's authority where the browser looks for those it trusts
    "openssl": "openssl",  # a judge of certificates that is not the library that makes them
    "ip": "iproute2",  # two hosts on a network of their own
    "/lib/systemd/systemd": "systemd",  # runs the unit that a shop would have it run
    "/bin/kill": "procps",  # what the unit reloads the server with
    "pg_createcluster": "postgresql",  # a shop's own database
    "strace": "strace",  # writes down what a server asks of its disk, for power cuts
    "libatomic.so.1": "libatomic1",  # what drives the browser is linked with it; a bare Debian has none
}
"""What the tests need beside Python and Node, with the Debian package that brings it."""

STARTED_AT = "SECONDPROBE_TESTS_STARTED_AT"
"""When the first start began, so that the table of times can say what the preparation took."""


def parse(arguments: list[str]) -> argparse.Namespace:
    """The command line; `load NAME ...` hands its rest on."""
    if arguments[:1] == ["load"]:
        return argparse.Namespace(load=arguments[1:], only=None, no_skips=False)
    parser = argparse.ArgumentParser(
        prog="python3 tests",
        description="Runs every test. `python3 tests load NAME` runs one benchmark instead.",
    )
    parser.add_argument("--only", metavar="NAME", help="one folder or file of tests/, or a word as for pytest -k")
    parser.add_argument("--no-skips", action="store_true", help="a skipped test is a failed one")
    options = parser.parse_args(arguments)
    options.load = None
    return options


def main(entry: Path, arguments: list[str]) -> None:
    """Runs the tests or a benchmark; the exit code is pytest's."""
    options = parse(arguments)
    os.environ.setdefault(STARTED_AT, str(time.time()))
    enter(entry, with_tests=True)
    if options.load is not None:
        run_load(options.load)
        return
    try:
        ensure(NEEDS, LOGS / "debian.log", say_line)
    except StepFailed as problem:
        say_line(f"  {problem}\n  Going on without; the tests that need it will say so.")
    import pytest

    os.chdir(ROOT)
    sys.exit(pytest.main(pytest_arguments(options.only, no_skips=options.no_skips)))


def pytest_arguments(only: str | None, *, no_skips: bool) -> list[str]:
    """pytest's arguments. A file stays in one worker: what it starts (a browser, a phone) starts once."""
    chosen: list[str] = []
    workers = ["-n", str(WORKERS), "--dist", "loadfile", "--no-loadscope-reorder"]  # the order is longest_first's
    if only is not None:
        place = next((p for p in (TESTS / only, ROOT / only) if p.exists()), None)
        chosen = [str(place.relative_to(ROOT))] if place else ["-k", only]
        if place is not None and place.is_file():
            workers = []
    # a module that cannot be collected is an error all the same, but the others are still looked at
    strict = ["--no-skips", "--continue-on-collection-errors"] if no_skips else []
    return [*workers, *strict, *chosen]


def run_load(words: list[str]) -> None:
    """Runs `tests/load/NAME.py` as a program, with the words after its name."""
    names = sorted(path.stem for path in LOAD.glob("*.py") if not path.stem.startswith("_"))
    if not words or words[0] not in names:
        given = f"'{words[0]}' is no benchmark. " if words else ""
        sys.exit(f"{given}python3 tests load NAME, where NAME is one of: {', '.join(names) or '(none yet)'}")
    sys.argv = [str(LOAD / f"{words[0]}.py"), *words[1:]]
    runpy.run_path(sys.argv[0], run_name="__main__")
