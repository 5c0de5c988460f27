"""Statements are written in `server/store` and nowhere else; the steps travel with the package."""

import ast
import re
from pathlib import Path

from hatchling.builders.wheel import WheelBuilder

ROOT = Path(__file__).resolve().parents[2]
STATEMENT = re.compile(
    r"^\s*(SELECT\b.+\bFROM|INSERT\s+INTO|UPDATE\s+\w+\s+SET|DELETE\s+FROM|CREATE\s+(TABLE|INDEX|VIEW)|PRAGMA\b|"
    r"(BEGIN|COMMIT)\b( (IMMEDIATE|TRANSACTION))?;?$)",
    re.IGNORECASE | re.DOTALL,
)


def texts_of(path: Path) -> list[str]:
    """Every text of a module, docstrings too."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return [node.value for node in ast.walk(tree) if isinstance(node, ast.Constant) and isinstance(node.value, str)]


def test_the_check_knows_a_statement_when_it_sees_one() -> None:
    in_store = [path for path in (ROOT / "server" / "store").rglob("*.py") if any(map(STATEMENT.match, texts_of(path)))]
    assert {path.name for path in in_store} >= {"change_log.py", "record.py", "database.py", "migrations.py"}


def test_no_statement_stands_outside_the_store() -> None:
    modules = [path for path in (ROOT / "server").rglob("*.py") if ROOT / "server" / "store" not in path.parents]
    assert len(modules) > 20
    found = [(path.name, text) for path in modules for text in texts_of(path) if STATEMENT.match(text)]
    assert found == []


def test_the_merge_rule_stays_short() -> None:
    assert len((ROOT / "server" / "sync" / "apply.py").read_text(encoding="utf-8").splitlines()) <= 60


def test_the_steps_travel_with_the_package() -> None:
    carried = {file.distribution_path for file in WheelBuilder(str(ROOT)).recurse_included_files()}
    for folder in ("server/store/steps", "server/store/shop_steps"):
        steps = [f"{folder}/{path.name}" for path in (ROOT / folder).glob("*.sql")]
        assert steps and carried.issuperset(steps)
