"""A meter's sheet and two meters over HTTP: the engine's own bytes, and refusals that mend themselves."""

from typing import Any

import msgspec
from litestar.testing import AsyncTestClient

from server.engine.meter_doors import meter_pair_json, meter_sheet_json

Client = AsyncTestClient[Any]
JSON = {"Content-Type": "application/json"}
ROWS = [{"resistor_ohm": 100, "shown": "101"}, {"resistor_ohm": 470, "shown": "471"}]
PAIR = [
    {"contact": "3", "first_shown": "452", "second_shown": "431"},
    {"contact": "4", "first_shown": "448", "second_shown": "426"},
]


async def test_a_meters_sheet_is_the_engines_own_bytes(client: Client) -> None:
    sent = msgspec.json.encode({"resistors": ROWS, "open_measured_mv": 2800})
    answer = await client.post("/api/meter-sheet", content=sent, headers=JSON)
    assert (answer.status_code, answer.content) == (200, meter_sheet_json(sent))
    assert answer.json()["test_current_ma"] == 1.0


async def test_two_meters_are_the_engines_own_bytes(client: Client) -> None:
    sent = msgspec.json.encode({"contacts": PAIR})
    answer = await client.post("/api/meter-pair", content=sent, headers=JSON)
    assert (answer.status_code, answer.content) == (200, meter_pair_json(sent))
    told = answer.json()
    assert told["ratio_low"] < told["ratio"] < told["ratio_high"]
    assert 0 < told["ratio"] < 1


async def test_a_resistor_typed_wrong_by_a_thousand_is_a_sentence_with_the_field(client: Client) -> None:
    wrong = [ROWS[0], {"resistor_ohm": 0.47, "shown": "471"}]
    answer = await client.post("/api/meter-sheet", json={"resistors": wrong})
    problem = answer.json()["problem"]
    assert (answer.status_code, problem["code"]) == (422, "resistor_by_a_thousand")
    assert problem["where"] == "$.resistors[1].resistor_ohm"
    assert "did you mean 470 ohm?" in problem["message"]
    wrong[1]["resistor_ohm"] = float(problem["example"])
    assert (await client.post("/api/meter-sheet", json={"resistors": wrong})).status_code == 200
