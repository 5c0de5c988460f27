"""Programs and libraries from Debian: installed when this user may, otherwise the one line to type.

Standard library only.
"""

import ctypes
import os
import shutil
from collections.abc import Callable, Sequence
from pathlib import Path

from demo.steps import run_logged, ticking


def is_root_on_debian() -> bool:
    """Whether this user can install Debian packages without being asked."""
    return hasattr(os, "geteuid") and os.geteuid() == 0 and shutil.which("apt-get") is not None


def install_line(packages: Sequence[str]) -> str:
    """The one line a person types as root."""
    return f"apt-get update && apt-get install -y --no-install-recommends {' '.join(packages)}"


def run_apt(packages: Sequence[str], log: Path, say: Callable[[str], None]) -> None:
    """Installs Debian packages as root. The newest list comes first: an old one names files that are gone."""
    environment = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    with ticking(f"Debian packages {' '.join(packages)}", say):
        run_logged(["apt-get", "update"], log, env=environment)
        run_logged(
            ["apt-get", "install", "-y", "--no-install-recommends", *packages], log, env=environment,
            hint="Debian's packages are needed once; without a network they cannot be installed.",
        )


def is_there(need: str) -> bool:
    """Whether a program is on PATH, a shared library (`libname.so.1`) can be loaded, or a file (`/...`) is there."""
    if need.startswith("/"):
        return Path(need).exists()
    if ".so" not in need:
        return shutil.which(need) is not None
    try:
        ctypes.CDLL(need)
    except OSError:
        return False
    return True


def ensure(needs: dict[str, str], log: Path, say: Callable[[str], None]) -> list[str]:
    """Sees to it that programs and libraries (name -> Debian package) are there.

    Returns the packages still missing, after naming the line to type. Raises StepFailed when Debian's
    installer failed.
    """
    missing = [package for need, package in needs.items() if not is_there(need)]
    if not missing:
        return []
    if not is_root_on_debian():
        say(f"  missing: {', '.join(missing)}. As root, run:\n    {install_line(missing)}")
        return missing
    run_apt(missing, log, say)
    return []
