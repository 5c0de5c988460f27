"""The project's own Python environment: `.venv`, and packages in it.

Decides: how `.venv` comes to be whole or not at all, that uv installs and pip takes over where uv
cannot, and that the user's own pip settings (index, certificates, constraints) hold for both.
Standard library only.
"""

import importlib.util
import os
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Callable, Mapping
from pathlib import Path

from demo.debian import is_root_on_debian, run_apt
from demo.steps import StepFailed, run_logged

UV_PIN = "uv==0.13.9"
NETWORK_HINT = (
    "The first start needs the package registry that pip is set up for. Without a network it cannot be done;"
    " later starts need none."
)
UV_NAME_OF_PIP_SETTING = {
    "index-url": "UV_DEFAULT_INDEX",
    "extra-index-url": "UV_INDEX",
    "find-links": "UV_FIND_LINKS",
    "constraint": "UV_CONSTRAINT",
    "cert": "SSL_CERT_FILE",
    "no-index": "UV_NO_INDEX",
    "trusted-host": "UV_INSECURE_HOST",
}


def make_venv(venv: Path, log: Path, say: Callable[[str], None]) -> None:
    """Makes `venv` beside itself and renames it when it is whole; an old one is replaced.

    Raises:
        StepFailed: Python comes without `ensurepip` and this user may not install it.
    """
    if importlib.util.find_spec("ensurepip") is None:
        install_line = "apt-get update && apt-get install -y --no-install-recommends python3-venv"
        if not is_root_on_debian():
            raise StepFailed(f"this Python cannot make environments with pip. As root, run:\n  {install_line}")
        say("  this Python has no ensurepip: installing python3-venv")
        run_apt(["python3-venv"], log, say)
    half_made = venv.with_name(venv.name + ".new")
    shutil.rmtree(half_made, ignore_errors=True)
    base_python = getattr(sys, "_base_executable", None) or sys.executable
    run_logged([base_python, "-m", "venv", "--prompt", "secondprobe", half_made], log)
    _write_final_paths(half_made, venv)
    shutil.rmtree(venv, ignore_errors=True)
    half_made.rename(venv)


def _write_final_paths(half_made: Path, venv: Path) -> None:
    """Scripts in a venv carry its absolute path: give them the one they will have after the rename."""
    for script in [half_made / "pyvenv.cfg", *(half_made / "bin").iterdir()]:
        if script.is_symlink() or not script.is_file():
            continue
        text = script.read_text(encoding="utf-8", errors="surrogateescape")
        script.write_text(text.replace(str(half_made), str(venv)), encoding="utf-8", errors="surrogateescape")


def pip_settings(python: Path) -> dict[str, str]:
    """What the user has set for pip, from its files and its environment, by option name."""
    done = subprocess.run([python, "-m", "pip", "config", "list"], capture_output=True, text=True, check=False)
    found: dict[str, str] = {}
    for line in done.stdout.splitlines():
        key, _, value = line.partition("=")
        option = key.rsplit(".", 1)[-1]
        found[option] = value.strip().strip("'\"").replace("\\n", " ")
    return found


def uv_environment(settings: Mapping[str, str], environ: Mapping[str, str] = os.environ) -> dict[str, str]:
    """`environ` with pip's settings under uv's names. What the user set for uv itself stays.

    uv stops at a folder that is not there, where pip only warns; so such places are left out.
    """
    result = dict(environ)
    for option, uv_name in UV_NAME_OF_PIP_SETTING.items():
        there = [place for place in settings.get(option, "").split() if _is_there(place)]
        if there and uv_name not in environ:
            result[uv_name] = " ".join(there)
    # pip looks for the best version in all its indexes, uv by itself only in the first that has the name
    result.setdefault("UV_INDEX_STRATEGY", "unsafe-best-match")
    result.setdefault("UV_LINK_MODE", "copy")
    return result


def _is_there(place: str) -> bool:
    if place.startswith("file://"):
        return Path(place.removeprefix("file://")).exists()
    return not place.startswith("/") or Path(place).exists()


def install(venv: Path, wanted: list[str], constraints: Path, log: Path, say: Callable[[str], None], cwd: Path) -> None:
    """Installs `wanted` (requirements, `-e .`) into `venv` in the versions of `constraints`.

    Raises:
        StepFailed: neither uv nor pip could.
    """
    python = venv / "bin" / "python"
    arguments = ["--no-build-isolation", "-c", str(constraints), *wanted]
    uv = venv / "bin" / "uv"
    try:
        if not uv.exists():
            run_logged([python, "-m", "pip", "install", "--quiet", UV_PIN], log)
        environment = uv_environment(pip_settings(python))
        run_logged([uv, "pip", "install", "--python", python, *arguments], log, cwd=cwd, env=environment)
    except StepFailed as problem:
        say(f"  uv could not ({str(problem).splitlines()[-1][:160]}); trying pip")
        run_logged([python, "-m", "pip", "install", *arguments], log, cwd=cwd, hint=NETWORK_HINT)


def extra_requirements(pyproject: Path, extra: str) -> list[str]:
    """The requirements of one extra of pyproject.toml."""
    return list(tomllib.loads(pyproject.read_text())["project"]["optional-dependencies"][extra])
