"""The installed package brings everything it needs, the app too, and nothing else."""

import os
import shutil
import signal
import subprocess
import sys
import sysconfig
import time
import urllib.request
import venv
import zipfile
from collections.abc import Iterator
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


@pytest.fixture(scope="module")
def command(installed: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """`secondprobe` as pip puts it into an environment of its own; what it rests on is the tests' own."""
    home = tmp_path_factory.mktemp("bench") / "venv"
    venv.create(home, with_pip=False)
    (wheel,) = installed.parent.glob("*.whl")
    done = subprocess.run(
        [
            sys.executable, "-m", "pip", "--python", str(home / "bin" / "python"), "install", "--quiet", "--no-index",
            "--no-deps", str(wheel),
        ],
        capture_output=True, text=True, check=False,
    )
    assert done.returncode == 0, done.stderr
    return home / "bin" / "secondprobe"


@pytest.fixture
def without_node(tmp_path: Path) -> dict[str, str]:
    """An environment in which no program is found by its name, Node least of all."""
    empty = tmp_path / "empty"
    empty.mkdir()
    assert shutil.which("node", path=str(empty)) is None
    return {"PATH": str(empty), "PYTHONPATH": sysconfig.get_path("purelib"), "HOME": str(tmp_path)}


def test_the_installed_command_forms_an_opinion_without_node(
    command: Path, without_node: dict[str, str], repository: Path, tmp_path: Path
) -> None:
    sheet = repository / "demo" / "sheets" / "v2_zif_one_torn.json"
    done = subprocess.run(
        [str(command), "opinion", str(sheet), "--text"], cwd=tmp_path, env=without_node, capture_output=True, text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert "contact" in done.stdout.lower()


@pytest.fixture
def served(command: Path, without_node: dict[str, str], tmp_path: Path) -> Iterator[str]:
    """The address of the installed command's server, which has nothing but itself."""
    from tests.browser.server_process import free_port

    port, said = free_port(), tmp_path / "said.txt"
    with said.open("wb") as out:
        process = subprocess.Popen(
            [str(command), "serve", "--this-machine", "--data", str(tmp_path / "record"), "--port", str(port)],
            cwd=tmp_path, env=without_node, stdout=out, stderr=subprocess.STDOUT,
        )
    address, until = f"http://127.0.0.1:{port}", time.monotonic() + 30
    while not _answers(f"{address}/api/health"):
        assert process.poll() is None and time.monotonic() < until, said.read_text()
        time.sleep(0.1)
    yield address
    process.send_signal(signal.SIGTERM)
    process.wait(timeout=30)


def test_the_installed_command_serves_the_built_app_without_node(served: str, app_dir: Path) -> None:
    with urllib.request.urlopen(f"{served}/") as page:
        assert page.read() == (app_dir / "index.html").read_bytes()
    for name in ("sw.js", "manifest.webmanifest", "icons/icon-192.png"):
        with urllib.request.urlopen(f"{served}/{name}") as file:
            assert file.read() == (app_dir / name).read_bytes()
    (wasm,) = app_dir.rglob("pyodide.asm.wasm")
    asked = urllib.request.Request(
        f"{served}/{wasm.relative_to(app_dir).as_posix()}", headers={"Accept-Encoding": "br, gzip"}
    )
    with urllib.request.urlopen(asked) as file:
        assert file.headers["Content-Encoding"] == "br"
        assert len(file.read()) < wasm.stat().st_size / 2


def _answers(url: str) -> bool:
    try:
        with urllib.request.urlopen(url, timeout=5) as answer:
            return answer.status == 200
    except OSError:
        return False
