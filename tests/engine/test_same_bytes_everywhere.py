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


def answered(sheets: list[bytes], hash_seed: str, repository: Path) -> list[str]:
    """What a process with this hash seed answers to each sheet: the SHA-256 of the bytes."""
    done = subprocess.run(
        [sys.executable, "-c", IN_ANOTHER_PROCESS],
        input=b"\0".join(sheets),
        capture_output=True,
        cwd=repository,
        env={**os.environ, "PYTHONHASHSEED": hash_seed},
        check=False,
    )
    assert done.returncode == 0, done.stderr.decode()[-2000:]
    return json.loads(done.stdout)


@pytest.fixture(scope="module")
def opinions(sheets: list[bytes], repository: Path) -> list[str]:
    """What all others are compared with: the answers under the first hash seed."""
    return answered(sheets, HASH_SEEDS[0], repository)


def test_opinions_differ_between_sheets(sheets: list[bytes], opinions: list[str]) -> None:
    assert len(set(opinions)) == len(opinions) == len(sheets)


@pytest.mark.parametrize("hash_seed", HASH_SEEDS[1:])
def test_a_hash_seed_changes_no_byte(
    hash_seed: str, sheets: list[bytes], opinions: list[str], repository: Path
) -> None:
    assert answered(sheets, hash_seed, repository) == opinions


def test_asked_again_in_another_order_every_sheet_gets_the_same_bytes(
    sheets: list[bytes], opinions: list[str]
) -> None:
    for place in reversed(range(0, len(sheets), 3)):
        assert sha256(opinion_json(sheets[place])) == opinions[place], f"sheet number {place}"


def test_the_phones_python_gives_the_same_bytes(sheets: list[bytes], opinions: list[str]) -> None:
    with PyodideNode() as phone:
        for place, (sheet, opinion) in enumerate(zip(sheets, opinions, strict=True)):
            assert sha256(phone.opinion(sheet)) == opinion, f"sheet number {place}"


def sha256(answer: bytes) -> str:
    return hashlib.sha256(answer).hexdigest()
