"""TypeScript types and data tables for the phone, out of `shared_models`.

Writes `generated/models.ts` (one type per Struct, exported by its own name) and
`generated/tables.json`. Decides which Structs the phone gets to know: every one that
`shared_models` defines. Run with the project's Python: `contracts.py NODE OUT_DIR`.
"""

import importlib
import inspect
import json
import pkgutil
import subprocess
import sys
import types
import typing
from pathlib import Path

import msgspec

PWA = Path(__file__).resolve().parents[1]
ROOT = PWA.parent
HEADER = "// Generated from shared_models by pwa/build/contracts.py. Not committed, not edited.\n"


def all_structs() -> list[type[msgspec.Struct]]:
    """Every public Struct defined in a module of `shared_models`, by name.

    Raises:
        ValueError: two modules define a Struct of one name, which TypeScript could not tell apart.
    """
    package = importlib.import_module("shared_models")
    found: dict[str, type[msgspec.Struct]] = {}
    for module_info in pkgutil.iter_modules(package.__path__, "shared_models."):
        module = importlib.import_module(module_info.name)
        for name, member in inspect.getmembers(module, inspect.isclass):
            if member.__module__ != module.__name__ or name.startswith("_"):
                continue
            if not issubclass(member, msgspec.Struct) or not member.__struct_fields__:
                continue
            if name in found:
                raise ValueError(f"{name} is defined in {found[name].__module__} and in {module.__name__}: rename one")
            found[name] = member
    return [found[name] for name in sorted(found)]


def alias_lines() -> list[str]:
    """TypeScript of the named choices (`Role`, `Verdict`, ...) and unions (`Touch`, `Of`, ...).

    A JSON schema has no names for them; the code of the phone should not spell them out again.
    """
    package = importlib.import_module("shared_models")
    lines: dict[str, str] = {}
    for module_info in pkgutil.iter_modules(package.__path__, "shared_models."):
        for name, value in vars(importlib.import_module(module_info.name)).items():
            origin, members = typing.get_origin(value), typing.get_args(value)
            if name.startswith("_"):
                continue
            if origin is typing.Literal:
                lines[name] = " | ".join(json.dumps(member) for member in members)
            elif origin in (types.UnionType, typing.Union) and all(
                inspect.isclass(member) and issubclass(member, msgspec.Struct) for member in members
            ):
                lines[name] = " | ".join(member.__name__ for member in members)
    return [f"export type {name} = {lines[name]};\n" for name in sorted(lines)]


def openapi_document(structs: list[type[msgspec.Struct]]) -> dict[str, object]:
    """The Structs as an OpenAPI 3.1 document with components only: what the type generator reads."""
    _, components = msgspec.json.schema_components(structs, ref_template="#/components/schemas/{name}")
    return {
        "openapi": "3.1.0",
        "info": {"title": "shared_models", "version": "1"},
        "paths": {},
        "components": {"schemas": components},
    }


def types_source(node: str, document: dict[str, object]) -> str:
    """TypeScript of the document, with one plain alias per Struct.

    `--default-non-nullable=false`: without it a field with a default would look always present.
    """
    generator = PWA / "node_modules" / "openapi-typescript" / "bin" / "cli.js"
    done = subprocess.run(
        [node, str(generator), "--default-non-nullable=false", "--immutable"],
        input=json.dumps(document), capture_output=True, text=True, check=False, cwd=PWA,
    )
    if done.returncode != 0 or "components" not in done.stdout:
        raise RuntimeError(f"openapi-typescript failed ({done.returncode}):\n{done.stderr}\n{done.stdout[:500]}")
    names = sorted(document["components"]["schemas"])  # type: ignore[index]
    aliases = "".join(f'export type {name} = components["schemas"]["{name}"];\n' for name in names)
    return HEADER + done.stdout + "\n" + aliases + "".join(alias_lines())


def phone_tables() -> dict[str, object]:
    """The tables, and what the record takes of a number: the phone keeps a record before any Struct has read it."""
    from shared_models.limits import number_limits
    from shared_models.tables import all_tables

    # beside the tables and not among them: the engine imports those, and has no need to look into Structs
    return {**all_tables(), "number_limits": msgspec.to_builtins(number_limits())}


def write_contracts(node: str, out_dir: Path) -> None:
    """Writes both files; the old ones stay until the new ones are whole."""
    sys.path.insert(0, str(ROOT))
    out_dir.mkdir(parents=True, exist_ok=True)
    tables = json.dumps(phone_tables(), ensure_ascii=False, indent=1, sort_keys=True) + "\n"
    for name, text in (
        ("models.ts", types_source(node, openapi_document(all_structs()))),
        ("tables.json", tables),
    ):
        fresh = out_dir / (name + ".new")
        fresh.write_text(text, encoding="utf-8")
        fresh.replace(out_dir / name)


if __name__ == "__main__":
    sys.path.insert(0, str(ROOT))
    write_contracts(sys.argv[1], Path(sys.argv[2]))
