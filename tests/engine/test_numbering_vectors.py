"""How a socket is numbered, held equal in two places: the engine and the phone lay the same rows."""

import json
import subprocess
from pathlib import Path
from typing import Any

import msgspec
import pytest

from server.engine.errors import SheetError
from server.engine.socket_rows import rows_of
from shared_models.pin_table import ContactNumbering

ROOT = Path(__file__).parents[2]
PHONES_OWN = ROOT / "pwa" / "src" / "bench" / "numbering.ts"
FILE = ROOT / "tests" / "vectors" / "numbering" / "numberings.json"
VECTORS: list[dict[str, Any]] = json.loads(FILE.read_text(encoding="utf-8"))

ON_THE_PHONE = """
import { readFileSync } from "node:fs";
import typescript from "typescript";
const [source, vectors] = process.argv.slice(-2).map((path) => readFileSync(path, "utf8"));
const options = { module: typescript.ModuleKind.ESNext, target: typescript.ScriptTarget.ES2022 };
const plain = typescript.transpileModule(source, { compilerOptions: options }).outputText;
const { rowsOf } = await import("data:text/javascript," + encodeURIComponent(plain));
process.stdout.write(JSON.stringify(JSON.parse(vectors).map(({ numbering }) => rowsOf(numbering))));
"""


def laid(vector: dict[str, Any]) -> list[dict[str, Any]] | None:
    """The engine's rows as plain values; None where it refuses."""
    try:
        rows = rows_of(msgspec.convert(vector["numbering"], ContactNumbering))
    except SheetError:
        return None
    return [{"name": row.name, "contacts": list(row.contacts), "left_out": list(row.left_out)} for row in rows]


@pytest.mark.parametrize("vector", VECTORS, ids=lambda vector: vector["name"])
def test_the_engine_lays_the_rows_of_the_vector(vector: dict[str, Any]) -> None:
    rows = laid(vector)
    assert (None if rows is None else [row["contacts"] for row in rows]) == vector["rows"]
    if rows is not None:
        assert [row["left_out"] for row in rows] == vector.get("left_out", [[]] * len(rows))


def test_the_phone_lays_the_same_rows_under_the_same_names(node_path: str) -> None:
    done = subprocess.run(
        [node_path, "--input-type=module", "-e", ON_THE_PHONE, str(PHONES_OWN), str(FILE)],
        cwd=ROOT / "pwa", capture_output=True, text=True, check=False,
    )
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout) == [laid(vector) for vector in VECTORS]
