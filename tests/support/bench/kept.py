"""What the near-ideal judge finds, kept on disk: it rests on the world alone, and that does not change with the engine.

An answer is kept under the readings it was asked of, in a folder named for the world: for the text of every module it
is made by and for the stories as they came out. Whatever of it changes, nothing kept before is taken for an answer.
"""

import ast
import hashlib
import os
import pickle
import zlib
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from tests.support.bench.sockets import plans
from tests.support.bench.story_world import stories

ROOT = Path(__file__).resolve().parents[3]
FOLDER = ROOT / ".cache" / "bench"
JUDGE = "tests.support.bench.ideal_stories"
"""All that an answer is made by is imported by this, or by what it imports."""


class Kept:
    """The answers of one judge on one job; `keep` writes them down."""

    def __init__(self, name: str) -> None:
        self.path = FOLDER / world_name() / name
        self.answers: dict[str, Any] = {}
        self.changed = False
        if self.path.exists():
            self.answers = pickle.loads(zlib.decompress(self.path.read_bytes()))

    def answer(self, what: str, asked: object, make: Callable[[], Any]) -> Any:
        """What was answered to the same before, or what `make` says now. `asked` tells all by its text."""
        key = f"{what} {hashlib.sha256(repr(asked).encode()).hexdigest()[:24]}"
        if key not in self.answers:
            self.answers[key] = make()
            self.changed = True
        return self.answers[key]

    def keep(self) -> None:
        if not self.changed:
            return
        self.path.parent.mkdir(parents=True, exist_ok=True)
        unfinished = self.path.with_suffix(f".{os.getpid()}")
        unfinished.write_bytes(zlib.compress(pickle.dumps(self.answers), 1))
        unfinished.replace(self.path)
        self.changed = False


@cache
def world_name() -> str:
    """Equal for equal worlds only."""
    told = hashlib.sha256(np.__version__.encode())
    for path in sorted(sources(JUDGE)):
        told.update(path.read_bytes())
    for plan in plans():
        told.update(repr((plan.lines, plan.rows, plan.along, stories(plan.name))).encode())
    return told.hexdigest()[:16]


def sources(module: str) -> set[Path]:
    """The file of a module of the tests, and those of all test modules that it rests on."""
    found: set[Path] = set()
    waiting = [module]
    while waiting:
        path = ROOT / f"{waiting.pop().replace('.', '/')}.py"
        if path in found or not path.exists():
            continue
        found.add(path)
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("tests."):
                waiting += [str(node.module), *(f"{node.module}.{one.name}" for one in node.names)]
    return found
