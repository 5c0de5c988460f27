"""The installed package brings everything it needs, the app too, and nothing else."""

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory, repository: Path) -> Path:
    """The wheel, built without a network and unpacked as an installer would."""
    folder = tmp_path_factory.mktemp("wheel")
    done = subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(folder)],
        cwd=repository, capture_output=True, text=True, check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    (wheel,) = folder.glob("*.whl")
    with zipfile.ZipFile(wheel) as packed:
        packed.extractall(folder / "site")
    return folder / "site"


def test_the_wheel_installs_two_packages_and_no_third(installed: Path) -> None:
    names = {path.name for path in installed.iterdir() if not path.name.endswith(".dist-info")}
    assert names == {"server", "shared_models"}


def test_the_wheel_brings_the_app_compressed(installed: Path, app_dir: Path) -> None:
    app = installed / "server" / "app_files"
    built = {path.relative_to(app_dir).as_posix() for path in app_dir.rglob("*") if path.is_file()}
    brought = {path.relative_to(app).as_posix() for path in app.rglob("*") if path.is_file()}
    assert built <= brought
    assert {name for name in brought - built if not name.endswith((".br", ".gz"))} == set()
    (wasm,) = app.rglob("pyodide.asm.wasm.br")
    assert wasm.stat().st_size < 4_000_000


def test_the_installed_command_runs_from_anywhere_and_finds_its_app(installed: Path, tmp_path: Path) -> None:
    asked = "import server, server.cli as c; print(server.__file__); print(c.DEFAULT_APP_DIR)"
    done = subprocess.run(
        [sys.executable, "-c", asked], cwd=tmp_path, env={**os.environ, "PYTHONPATH": str(installed)},
        capture_output=True, text=True, check=False,
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines() == [
        str(installed / "server" / "__init__.py"), str(installed / "server" / "app_files"),
    ]
