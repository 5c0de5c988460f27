"""What the build hands to the phone: the types, the tables, the engine and the Python under it."""

import hashlib
import json
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import msgspec
import pytest

from pwa.build import contracts, engine_zip, runtime
from server.api.app_files import NAMED_BY_CONTENT
from tests.support.pyodide_node import MANIFEST, PUBLIC, PhoneError, PyodideNode


@pytest.fixture(scope="module")
def manifest() -> dict[str, Any]:
    return json.loads(MANIFEST.read_text())


@pytest.fixture(scope="module")
def phone() -> Iterator[PyodideNode]:
    with PyodideNode() as started:
        yield started


def tree(root: Path) -> Path:
    """A small project to pack."""
    for name, text in {
        "server/__init__.py": "", "server/engine/__init__.py": "", "server/engine/door.py": "ANSWER = 42\n",
        "server/store/secret.py": "", "shared_models/__init__.py": "", "shared_models/EVOLUTION.md": "",
    }.items():
        (root / name).parent.mkdir(parents=True, exist_ok=True)
        (root / name).write_text(text)
    return root


def test_only_the_engine_and_the_models_go_to_the_phone(tmp_path: Path) -> None:
    engine_zip.pack(tree(tmp_path / "project"), tmp_path / "engine.zip")
    assert zipfile.ZipFile(tmp_path / "engine.zip").namelist() == [
        "server/__init__.py", "server/engine/__init__.py", "server/engine/door.py", "shared_models/__init__.py",
    ]


def test_the_same_sources_give_the_same_bytes(tmp_path: Path) -> None:
    engine_zip.pack(tree(tmp_path / "one"), tmp_path / "one.zip")
    engine_zip.pack(tree(tmp_path / "two"), tmp_path / "two.zip")
    assert (tmp_path / "one.zip").read_bytes() == (tmp_path / "two.zip").read_bytes()
    (tmp_path / "two/server/engine/door.py").write_text("ANSWER = 43\n")
    engine_zip.pack(tmp_path / "two", tmp_path / "two.zip")
    assert (tmp_path / "one.zip").read_bytes() != (tmp_path / "two.zip").read_bytes()


def test_an_address_changes_with_its_content_and_the_old_one_goes(tmp_path: Path) -> None:
    public, engine = tmp_path / "public", tmp_path / "engine.zip"
    engine.write_text("one")
    first = engine_zip.lay_out({"opinion": [engine]}, public)["engine.zip"]
    assert engine_zip.lay_out({"opinion": [engine]}, public)["engine.zip"] == first
    engine.write_text("two")
    second = engine_zip.lay_out({"opinion": [engine]}, public)["engine.zip"]
    assert second["url"] != first["url"]
    assert [folder.name for folder in public.iterdir()] == [str(second["url"]).split("/")[2]]


def test_the_manifest_tells_the_truth_about_every_file(manifest: dict[str, Any]) -> None:
    assert set(manifest["files"]) == {*engine_zip.RUNTIME_FILES, "engine.zip"}
    for name, entry in manifest["files"].items():
        data = (PUBLIC / entry["url"].lstrip("/")).read_bytes()
        assert (len(data), hashlib.sha256(data).hexdigest()) == (entry["bytes"], entry["sha256"]), name
    assert manifest["total_bytes"] == sum(entry["bytes"] for entry in manifest["files"].values())


def test_the_built_engine_holds_every_source_of_today(manifest: dict[str, Any], repository: Path) -> None:
    built = zipfile.ZipFile(PUBLIC / manifest["files"]["engine.zip"]["url"].lstrip("/")).namelist()
    sources = [path.relative_to(repository).as_posix() + "c" for path in engine_zip.engine_sources(repository)]
    assert sorted(built) == sorted(sources)


def test_the_phone_runs_the_servers_msgspec(phone: PyodideNode, manifest: dict[str, Any]) -> None:
    assert phone.msgspec_version == msgspec.__version__ == manifest["msgspec_version"]
    assert phone.python_version == manifest["python_version"]


def test_the_phone_runs_the_files_that_were_built(phone: PyodideNode) -> None:
    assert phone.run("import shared_models.sheet as s; s.__file__") == "/engine/shared_models/sheet.pyc"
    assert phone.run("import statistics; statistics.__file__").endswith("/statistics.pyc")


@pytest.mark.parametrize(
    "module",
    ["dataclasses", "decimal", "enum", "fractions", "functools", "heapq", "itertools", "json", "logging", "math", "re",
     "statistics", "traceback", "typing", "uuid"],
)
def test_what_an_engine_may_want_of_the_standard_library_is_there(phone: PyodideNode, module: str) -> None:
    assert phone.run(f"import {module}; {module}.__name__") == module


def test_an_error_on_the_phone_is_one_line_and_the_next_question_is_answered(phone: PyodideNode) -> None:
    with pytest.raises(PhoneError) as refusal:
        phone.run("1 / 0")
    assert str(refusal.value) == "ZeroDivisionError: division by zero"
    assert phone.run("1 + 1") == "2"


def test_a_wheel_for_another_pyodide_is_refused(repository: Path) -> None:
    pins = json.loads((repository / "pwa/build/runtime_pins.json").read_text())
    info = {"abi_version": pins["pyodide_abi_version"], "python": pins["python_version"] + ".2"}
    runtime.check_pins(pins, info)
    with pytest.raises(ValueError, match=r"speaks abi 2027_0, .* ends in pyemscripten_2027_0_wasm32\.whl"):
        runtime.check_pins(pins, {**info, "abi_version": "2027_0"})
    with pytest.raises(ValueError, match=r"brings Python 3\.15\.0"):
        runtime.check_pins(pins, {**info, "python": "3.15.0"})


def test_the_phones_msgspec_is_the_one_the_server_asks_for(repository: Path) -> None:
    pins = json.loads((repository / "pwa/build/runtime_pins.json").read_text())
    assert f'"msgspec=={pins["msgspec_version"]}",' in (repository / "pyproject.toml").read_text()


def test_every_struct_and_choice_has_its_type(repository: Path) -> None:
    models = (repository / "pwa/src/generated/models.ts").read_text()
    for struct in contracts.all_structs():
        assert f"export type {struct.__name__} = " in models
    assert 'export type LeadOnGround = "red" | "black";' in models
    assert "export type Touch = AtContact | " in models


def test_the_phones_tables_are_the_tables(repository: Path) -> None:
    assert json.loads((repository / "pwa/src/generated/tables.json").read_text()) == json.loads(
        msgspec.json.encode(contracts.phone_tables())
    )


def test_the_server_lets_every_engine_file_be_kept_for_ever(manifest: dict[str, Any]) -> None:
    assert [entry["url"] for entry in manifest["files"].values() if not NAMED_BY_CONTENT.search(entry["url"])] == []
