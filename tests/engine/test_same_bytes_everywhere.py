"""The same sheet gets the same bytes: under three hash seeds, warm or cold, here and on the phone's Python."""

import hashlib
import json
import os
import subprocess
import sys
from pathlib import Path

import msgspec
import pytest

from server.engine.door import opinion_json
from tests.support.pyodide_node import PyodideNode
from tests.support.sheets import random_sheet

# the opinions of this process are formed once, so all of these go to one worker
pytestmark = pytest.mark.xdist_group("same_bytes")

GENERATED = 300
HASH_SEEDS = ("0", "1", "2")

IN_ANOTHER_PROCESS = """
import hashlib, json, sys
from server.engine.door import opinion_json
lines = sys.stdin.buffer.read().split(b"\\0")
print(json.dumps([hashlib.sha256(opinion_json(line)).hexdigest() for line in lines]))
"""


@pytest.fixture(scope="module")
def sheets(repository: Path) -> list[bytes]:
    """Every kept sheet and the generated ones, as JSON."""
    kept = [path.read_bytes() for path in sorted((repository / "demo" / "sheets").glob("*.json"))]
    kept = [text for text in kept if b'"sheet_id"' in text[:400]]
    assert len(kept) >= 8
    return kept + [msgspec.json.encode(random_sheet(seed)) for seed in range(GENERATED)]


@pytest.fixture(scope="module")
def opinions(sheets: list[bytes]) -> list[bytes]:
    """What this process answers."""
    return [opinion_json(sheet) for sheet in sheets]


def test_opinions_differ_between_sheets(opinions: list[bytes]) -> None:
    assert len(set(opinions)) == len(opinions)


@pytest.mark.parametrize("hash_seed", HASH_SEEDS)
def test_a_hash_seed_changes_no_byte(
    hash_seed: str, sheets: list[bytes], opinions: list[bytes], repository: Path
) -> None:
    done = subprocess.run(
        [sys.executable, "-c", IN_ANOTHER_PROCESS],
        input=b"\0".join(sheets),
        capture_output=True,
        cwd=repository,
        env={**os.environ, "PYTHONHASHSEED": hash_seed},
        check=False,
    )
    assert done.returncode == 0, done.stderr.decode()[-2000:]
    assert json.loads(done.stdout) == [hashlib.sha256(opinion).hexdigest() for opinion in opinions]


def test_asked_again_in_another_order_every_sheet_gets_the_same_bytes(
    sheets: list[bytes], opinions: list[bytes]
) -> None:
    for place in reversed(range(0, len(sheets), 3)):
        assert opinion_json(sheets[place]) == opinions[place], f"sheet number {place}"


def test_the_phones_python_gives_the_same_bytes(sheets: list[bytes], opinions: list[bytes]) -> None:
    with PyodideNode() as phone:
        for place, (sheet, opinion) in enumerate(zip(sheets, opinions, strict=True)):
            assert phone.opinion(sheet) == opinion, f"sheet number {place}"
