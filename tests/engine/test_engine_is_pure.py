"""The engine stays pure and the same on every Python: its sources are read, and every rule is shown to bite.

The same files run on the server and on the phone, so they may use neither clock nor chance nor files, and
no arithmetic or order that differs between the two. Every number has one home, with its origin.
"""

import ast
import re
from collections.abc import Callable, Iterator
from importlib import import_module
from pathlib import Path

import pytest

from server.engine import constants
from tests.support.source_rules import (
    impure_calls,
    impure_imports,
    stray_numbers,
    unequal_arithmetic,
    walks_over_sets,
    without_docstring,
)

ROOT = Path(__file__).parents[2]
ENGINE = sorted((ROOT / "server" / "engine").rglob("*.py"))
SHARED = sorted((ROOT / "shared_models").rglob("*.py"))
CONSTANTS = sorted((ROOT / "server" / "engine" / "constants").glob("*.py"))
BOTH = [*ENGINE, *SHARED]
Rule = Callable[[ast.Module], Iterator[str]]


def broken(rule: Rule, files: list[Path]) -> list[str]:
    """Every breach of a rule as `file:line: what`."""
    return [f"{file.relative_to(ROOT)}:{what}" for file in files for what in rule(ast.parse(file.read_text()))]


def test_there_is_something_to_read() -> None:
    names = {file.relative_to(ROOT).as_posix() for file in BOTH}
    assert {"server/engine/door.py", "server/engine/latent/gains.py", "shared_models/sheet.py"} <= names


def test_only_pure_modules_are_imported() -> None:
    assert broken(impure_imports, BOTH) == []


def test_nothing_is_called_that_reaches_outside() -> None:
    assert broken(impure_calls, BOTH) == []


def test_no_arithmetic_whose_last_bit_differs_between_pythons() -> None:
    assert broken(unequal_arithmetic, ENGINE) == []


def test_nothing_walks_over_a_set() -> None:
    assert broken(walks_over_sets, BOTH) == []


def test_numbers_stand_in_the_one_table() -> None:
    assert broken(stray_numbers, [file for file in ENGINE if file not in CONSTANTS]) == []


def test_everything_public_says_what_it_is() -> None:
    assert broken(without_docstring, BOTH) == []


def test_the_package_the_phone_shares_a_name_with_is_empty() -> None:
    assert (ROOT / "server" / "__init__.py").read_bytes() == b""


BREACHES: list[tuple[Rule, str]] = [
    *(
        (impure_imports, source)
        for source in (
            "import time",
            "import os",
            "import random",
            "from pathlib import Path",
            "import io",
            "import secrets",
            "from datetime import datetime",
            "import uuid",
            "import socket",
            "import numpy as np",
            "from server.store import record",
            "from server import cli",
            "from . import door",
            "import msgspecs",
            "import sys\nsys.argv",
            "from sys import stdin",
            "from statistics import median_grouped",
            "def f():\n import asyncio",
        )
    ),
    *(
        (impure_calls, source)
        for source in ("open('a')", "print(1)", "hash('a')", "id(x)", "datetime.now()", "NormalDist().samples(2)")
    ),
    *(
        (unequal_arithmetic, source)
        for source in ("sum(rows)", "math.log10(x)", "x ** 0.5", "x ** y", "pow(x, 2)", "math.pow(x, 2)", "x **= 2")
    ),
    *(
        (walks_over_sets, source)
        for source in (
            "for x in {1, 2}: pass",
            "for x in set(rows): pass",
            "[x for x in frozenset(rows)]",
            "list({1, 2})",
            "a = {x for x in rows}\nfor x in a: pass",
            "def f(a: set[str]):\n return [x for x in a]",
            "a: frozenset[str] = frozenset()\n','.join(a)",
            "[*{1, 2}]",
            "f(*set(rows))",
            "a = set()\na.pop()",
            "tuple(set(a) & set(b))",
            "for x in a.keys() & b.keys(): pass",
            "max(set(a), key=len)",
            "{x: 1 for x in set(rows)}",
            "dict.fromkeys(set(rows))",
            "for x in {1}.union(rows): pass",
        )
    ),
    *((stray_numbers, source) for source in ("x = 3", "x = 0.25", "round(x, 6)", "len('bits/s')", "float('1e-9')")),
    *(
        (without_docstring, source)
        for source in ("x = 1", '"""M."""\ndef f(): pass', '"""M."""\nclass A:\n """A."""\n def b(self): pass')
    ),
]


@pytest.mark.parametrize(("rule", "source"), BREACHES, ids=lambda one: one if isinstance(one, str) else one.__name__)
def test_each_rule_sees_its_breach(rule: Rule, source: str) -> None:
    assert list(rule(ast.parse(source))) != []


HARMLESS = '''
"""A module that keeps every rule."""
import math
from collections.abc import Iterable
from msgspec import Struct
from server.engine.student import StudentT
from shared_models.board import Contact

OVER = frozenset({"ol"})


def told(rows: Iterable[str], seen: set[str]) -> list[str]:
    """Membership, sorting and counting say nothing of a set's order."""
    half = 0.5 * len(seen) + 2 - -1 + math.fsum([1.0])
    assert all(x in OVER for x in rows) and any(x for x in seen) and half * half
    return sorted({x for x in seen} | OVER) + [f"{half:.3f}"]
'''


@pytest.mark.parametrize(
    "rule", [impure_imports, impure_calls, unequal_arithmetic, walks_over_sets, stray_numbers, without_docstring]
)
def test_what_is_harmless_breaks_no_rule(rule: Rule) -> None:
    assert list(rule(ast.parse(HARMLESS))) == []


# ---- the one table ----------------------------------------------------------------------------------

HOMES = [constants, *(import_module(f"{constants.__name__}.{file.stem}") for file in CONSTANTS if file.stem[0] != "_")]
PUBLIC = {name: value for home in HOMES for name, value in vars(home).items() if re.fullmatch(r"[A-Z][A-Z0-9_]*", name)}
NOT_CONSTANTS = {"TABLE", "CONSTANTS_VERSION"}


def test_every_public_constant_stands_once_in_the_table_with_its_value() -> None:
    entries = {entry.name: entry.value for entry in constants.TABLE}
    assert len(entries) == len(constants.TABLE), "a name stands twice"
    assert entries == {name: value for name, value in PUBLIC.items() if name not in NOT_CONSTANTS}


@pytest.mark.parametrize("entry", constants.TABLE, ids=lambda entry: entry.name)
def test_every_constant_says_where_it_comes_from(entry: constants.Entry) -> None:
    assert entry.origin in ("SOURCE", "PRACTICE", "MEMORY", "ASSUMED")
    assert len(entry.why.split()) >= 2, "a reason is more than a word"
    assert entry.unit.strip()
    if entry.origin == "SOURCE":
        # a publication with its edition or year, or a mathematical definition
        assert re.search(r"\b(19|20)\d\d\b|\d(st|nd|rd|th) ed\.|^definition: ", entry.why), entry.why


def test_every_constant_is_used() -> None:
    def loaded(tree: ast.AST) -> list[str]:
        return [node.id for node in ast.walk(tree) if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load)]

    used = [name for file in ENGINE if file not in CONSTANTS for name in loaded(ast.parse(file.read_text()))]
    for statement in [one for file in CONSTANTS for one in ast.parse(file.read_text()).body]:
        if not isinstance(statement, ast.Expr):  # an Expr lists an entry in the table, which is no use of it
            used += loaded(statement)
    assert [entry.name for entry in constants.TABLE if entry.name not in used] == []
