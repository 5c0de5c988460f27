"""What every test may rely on: Hypothesis profiles, `--no-skips`, the table of times, shared fixtures.

A CI run must give the same answer twice, so there Hypothesis draws the same examples every time; on a
desk it goes on looking for new ones.
"""

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

pytest_plugins = ["tests.support.no_skips", "tests.support.part_times", "tests.support.longest_first"]

ROOT = Path(__file__).resolve().parents[1]

# no deadline: how long one example takes says nothing on a busy machine
settings.register_profile("desk", deadline=None)
settings.register_profile(
    "ci", deadline=None, derandomize=True, print_blob=True, suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("ci" if os.environ.get("CI") else "desk")


@pytest.fixture(autouse=True)
def own_mask() -> Iterator[None]:
    """The umask a test began with is there again after it: `serve` in the tests' own process makes it a strict one."""
    before = os.umask(0o022)
    os.umask(before)
    yield
    os.umask(before)


@pytest.fixture(scope="session")
def repository() -> Path:
    """The root of the project."""
    return ROOT


@pytest.fixture(scope="session")
def app_dir() -> Path:
    """The built app, as the server hands it out."""
    built = ROOT / "pwa" / "dist"
    assert (built / "index.html").exists(), "the app is not built: run python3 tests, which builds it"
    return built


@pytest.fixture(scope="session")
def chromium_path() -> str:
    """Debian's Chromium."""
    found = shutil.which("chromium")
    if found is None:
        pytest.skip("no chromium: apt-get install -y --no-install-recommends chromium")
    return found


@pytest.fixture(scope="session")
def ngspice_path() -> str:
    """Debian's circuit simulator."""
    found = shutil.which("ngspice")
    if found is None:
        pytest.skip("no ngspice: apt-get install -y --no-install-recommends ngspice")
    return found


@pytest.fixture(scope="session")
def node_path() -> str:
    """The Node that builds the app."""
    from demo.environment import VENV
    from demo.node import choose_node

    node = choose_node(VENV)
    assert node is not None, "no Node 20.19 or newer: run python3 tests, which brings one"
    return str(node.node)
