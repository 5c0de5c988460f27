"""The hand-written vectors that hold this server's merge and the phone's equal."""

import json
from pathlib import Path
from typing import Any

import pytest

from tests.sync.rig import open_record, push, whole_state

VECTORS = sorted((Path(__file__).parents[1] / "vectors" / "apply").glob("*.json"))


def test_there_are_vectors() -> None:
    assert len(VECTORS) >= 12


@pytest.mark.parametrize("path", VECTORS, ids=lambda path: path.stem)
@pytest.mark.parametrize("portions", ["one by one", "all at once"])
async def test_every_order_of_a_vector_gives_its_state(path: Path, portions: str, tmp_path: Path) -> None:
    vector: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    for number, order in enumerate(vector["orders"]):
        async with open_record(tmp_path / str(number)) as database:
            chosen = [vector["changes"][index] for index in order]
            for portion in [chosen] if portions == "all at once" else [[one] for one in chosen]:
                answer = await push(database, portion)
                assert "refused" not in [one.result for one in answer.answers], answer
            assert await whole_state(database) == vector["state"], f"order {order}"
