"""With `--no-skips` nothing is passed over in silence; without it a skip stays a skip."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

CASES = {
    "test_call.py": "import pytest\ndef test_it():\n    pytest.skip('no meter here')\n",
    "test_mark.py": "import pytest\n@pytest.mark.skip(reason='no meter here')\ndef test_it(): pass\n",
    "test_fixture.py": (
        "import pytest\n@pytest.fixture\ndef meter(): pytest.skip('no meter here')\ndef test_it(meter): pass\n"
    ),
    "test_module.py": "import pytest\npytest.importorskip('no_meter_here')\ndef test_it(): pass\n",
}
FINE = "import pytest\ndef test_it(): pass\n@pytest.mark.xfail(strict=True)\ndef test_known(): assert False\n"


def run_pytest(folder: Path, root: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    (folder / "pytest.ini").write_text("[pytest]\n")
    # other plugins have no part in this and take seconds to load
    environment = {**os.environ, "PYTHONPATH": str(root), "PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1"}
    return subprocess.run(
        [
            sys.executable, "-m", "pytest", "-p", "tests.support.no_skips", "-p", "no:cacheprovider", "-rA",
            "--continue-on-collection-errors", *arguments,
        ],
        cwd=folder, env=environment, capture_output=True, text=True, check=False,
    )


@pytest.fixture
def skipping(tmp_path: Path) -> Path:
    for name, text in CASES.items():
        (tmp_path / name).write_text(text)
    return tmp_path


@pytest.mark.parametrize("workers", [(), ("-p", "xdist", "-n", "1")], ids=["alone", "with a worker"])
def test_no_skips_makes_every_kind_of_skip_a_failure(
    skipping: Path, repository: Path, workers: tuple[str, ...],
) -> None:
    done = run_pytest(skipping, repository, "--no-skips", *workers)
    assert done.returncode == 1, done.stdout
    # pytest calls a failure before the test's own first line an error
    assert "1 failed, 3 errors" in done.stdout.splitlines()[-1]
    for reason in ("no meter here", "no_meter_here"):
        assert reason in done.stdout, "why it was skipped must be read"


def test_without_it_a_skip_stays_a_skip(skipping: Path, repository: Path) -> None:
    done = run_pytest(skipping, repository)
    assert done.returncode == 0, done.stdout
    assert "4 skipped" in done.stdout.splitlines()[-1]


def test_no_skips_lets_pass_what_ran(tmp_path: Path, repository: Path) -> None:
    (tmp_path / "test_fine.py").write_text(FINE)
    done = run_pytest(tmp_path, repository, "--no-skips")
    assert done.returncode == 0, done.stdout
    assert "1 passed, 1 xfailed" in done.stdout
