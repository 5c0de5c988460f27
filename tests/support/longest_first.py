"""pytest plugin: the files that take longest go first, so that no worker sits idle beside one long file at the end.

The numbers are rough and only for the order: one that is wrong costs some idle seconds. Where a file has none of its
own, it counts by its folder, times its tests.
"""

from collections import Counter
from pathlib import Path

import pytest

TESTS = Path(__file__).resolve().parents[1]

SECONDS_A_TEST = {"browser": 4.0, "network": 1.5, "static": 20.0, "sync": 0.2, "api": 0.2}
OTHERWISE_S = 0.05

SECONDS_A_FILE = {
    "engine/test_same_bytes_everywhere.py": 110,
    "engine/test_bench.py": 90,
    "engine/test_generated_sheets.py": 35,
    "engine/test_same_bytes_warm_and_cold.py": 25,
    "engine/test_ones_own_mistakes.py": 20,
    "engine/test_touches.py": 15,
    "engine/test_states_are_proper.py": 15,
    "api/test_description.py": 60,
    "unit/test_wheel.py": 30,
    "browser/test_whole_job.py": 60,
    "browser/test_in_the_shop.py": 60,
    "browser/test_store_saved.py": 50,
    "browser/test_store_trouble.py": 20,
    "browser/test_store_other_apps.py": 12,
    "browser/test_closing.py": 15,
    "browser/test_hand_back.py": 25,
    "browser/test_rail_and_proof_screens.py": 20,
    "engine/test_same_bytes_rail_and_proof.py": 10,
    "browser/test_what_next.py": 12,
}


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Sorts the files; the tests of a file stay as they stand in it."""
    counted = Counter(item.path for item in items)
    seconds = {path: seconds_of(path, tests) for path, tests in counted.items()}
    items.sort(key=lambda item: (-seconds[item.path], str(item.path)))


def seconds_of(path: Path, tests: int) -> float:
    """What a file with so many tests is taken to last."""
    if not path.is_relative_to(TESTS):
        return OTHERWISE_S * tests
    name = path.relative_to(TESTS)
    return SECONDS_A_FILE.get(name.as_posix(), SECONDS_A_TEST.get(name.parts[0], OTHERWISE_S) * tests)
