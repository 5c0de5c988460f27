"""Compressed variants of the app's files beside them, made once: `.br` and `.gz`.

Only for the installed package; a demo on the same machine gains nothing by it.
"""

import gzip
from pathlib import Path

import brotli

BROTLI_QUALITY = 9
"""9 takes 1.5 s for the 9.6 MB of Pyodide and makes 3.1 MB of it; 11 takes 25 s and makes 2.7 MB."""

COMPRESSIBLE = {".html", ".js", ".mjs", ".css", ".svg", ".json", ".webmanifest", ".wasm"}
SMALLEST_BYTES = 1000


def compress(folder: Path) -> list[Path]:
    """Writes the variants that are smaller than their file. Returns what was written."""
    written: list[Path] = []
    for file in sorted(folder.rglob("*")):
        if file.suffix not in COMPRESSIBLE or file.stat().st_size < SMALLEST_BYTES:
            continue
        data = file.read_bytes()
        variants = {
            ".br": brotli.compress(data, quality=BROTLI_QUALITY),
            ".gz": gzip.compress(data, compresslevel=9, mtime=0),
        }
        for ending, variant in variants.items():
            if len(variant) < len(data):
                target = file.with_name(file.name + ending)
                target.write_bytes(variant)
                written.append(target)
    return written
