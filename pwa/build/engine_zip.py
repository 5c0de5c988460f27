"""The engine as the phone gets it, and the list of everything it needs there.

`engine_zip.py NODE RUNTIME_DIR PUBLIC_DIR MANIFEST`. Packs `server/__init__.py`, `server/engine` and
`shared_models` (sorted, fixed times: the same sources give the same bytes), compiles them, and lays
them beside the runtime under addresses that hold the hash of the content, so that they may be cached
for ever. Standard library only.
"""

import hashlib
import json
import shutil
import subprocess
import sys
import tempfile
import zipfile
from pathlib import Path

BUILD = Path(__file__).resolve().parent
ROOT = BUILD.parents[1]
PYODIDE = BUILD.parent / "node_modules" / "pyodide"
FIXED_TIME = (1980, 1, 1, 0, 0, 0)
RUNTIME_FILES = ("pyodide.mjs", "pyodide.asm.mjs", "pyodide.asm.wasm", "python_stdlib.zip", "msgspec.whl")


def engine_sources(root: Path) -> list[Path]:
    """The source files that run on the phone, sorted by name."""
    found = [root / "server" / "__init__.py"]
    for folder in (root / "server" / "engine", root / "shared_models"):
        found += folder.rglob("*.py")
    return sorted(found, key=lambda path: path.relative_to(root).as_posix())


def pack(root: Path, to: Path) -> None:
    """Writes the sources as a zip with fixed times."""
    with zipfile.ZipFile(to, "w", zipfile.ZIP_DEFLATED) as made:
        for source in engine_sources(root):
            made.writestr(zipfile.ZipInfo(source.relative_to(root).as_posix(), FIXED_TIME), source.read_bytes())


def content_name(prefix: str, files: list[Path]) -> str:
    """A folder name that changes with the content of its files."""
    digest = hashlib.sha256()
    for file in files:
        digest.update(f"{file.name} {file.stat().st_size}\n".encode())
        digest.update(file.read_bytes())
    return f"{prefix}-{digest.hexdigest()[:12]}"


def lay_out(files: dict[str, list[Path]], public: Path) -> dict[str, dict[str, object]]:
    """Copies the files into content-named folders of `public`, and removes the folders of older builds."""
    entries: dict[str, dict[str, object]] = {}
    wanted: set[str] = set()
    for prefix, group in files.items():
        name = content_name(prefix, group)
        wanted.add(name)
        (public / name).mkdir(parents=True, exist_ok=True)
        for file in group:
            shutil.copyfile(file, public / name / file.name)
            entries[file.name] = {
                "url": f"/engine/{name}/{file.name}",
                "bytes": file.stat().st_size,
                "sha256": hashlib.sha256(file.read_bytes()).hexdigest(),
            }
    for old in public.iterdir():
        if old.name not in wanted:
            shutil.rmtree(old)
    return entries


def build_engine(node: str, runtime: Path, public: Path, manifest: Path) -> None:
    """Packs and compiles the engine, lays out all files, writes the manifest last."""
    info = json.loads((runtime / "info.json").read_text())
    with tempfile.TemporaryDirectory() as scratch:
        sources, engine = Path(scratch) / "sources.zip", Path(scratch) / "engine.zip"
        pack(ROOT, sources)
        subprocess.run(
            [node, str(BUILD / "pyc.mjs"), str(PYODIDE), "[]", str(sources), str(engine)], check=True
        )
        entries = lay_out({"runtime": [runtime / name for name in RUNTIME_FILES], "opinion": [engine]}, public)
    version = hashlib.sha256("".join(str(entry["sha256"]) for entry in entries.values()).encode()).hexdigest()[:12]
    manifest.parent.mkdir(parents=True, exist_ok=True)
    fresh = manifest.with_suffix(".new")
    fresh.write_text(json.dumps({
        "version": version,
        "python_version": info["lock_info"]["python"],
        "msgspec_version": info["msgspec_version"],
        "lock_info": info["lock_info"],
        "total_bytes": sum(entry["bytes"] for entry in entries.values()),  # type: ignore[misc]
        "files": entries,
    }, indent=1) + "\n")
    fresh.replace(manifest)


if __name__ == "__main__":
    build_engine(sys.argv[1], *(Path(word) for word in sys.argv[2:5]))
