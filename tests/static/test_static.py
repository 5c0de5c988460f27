"""Lint and types of everything that is written, as tests: one count at the end says it all."""

import subprocess
import sys
from pathlib import Path


def run(command: list[str], cwd: Path) -> None:
    """Runs a checker; what it found is the failure's text."""
    done = subprocess.run(command, cwd=cwd, capture_output=True, text=True, check=False)
    assert done.returncode == 0, f"{' '.join(command)}\n{done.stdout[-8000:]}\n{done.stderr[-2000:]}"


def test_ruff_finds_nothing(repository: Path) -> None:
    run([sys.executable, "-m", "ruff", "check", "--quiet", "."], repository)


def test_pyright_finds_nothing(repository: Path) -> None:
    run([sys.executable, "-m", "pyright", "--warnings"], repository)


def test_svelte_check_finds_nothing(repository: Path, node_path: str) -> None:
    pwa = repository / "pwa"
    checker = pwa / "node_modules" / "svelte-check" / "bin" / "svelte-check"
    run([node_path, str(checker), "--tsconfig", "./tsconfig.json", "--fail-on-warnings"], pwa)


def test_typescript_finds_nothing_in_the_workers(repository: Path, node_path: str) -> None:
    pwa = repository / "pwa"
    compiler = pwa / "node_modules" / "typescript" / "bin" / "tsc"
    run([node_path, str(compiler), "--noEmit", "-p", "tsconfig.worker.json"], pwa)
