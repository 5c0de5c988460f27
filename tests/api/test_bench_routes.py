"""What is asked before the work: the engine's own bytes, and impossible values told in the one shape."""

import json
from typing import Any

import msgspec
from litestar.testing import AsyncTestClient

from demo.shop.boards.quillon_t10 import T10
from server.engine.bench_doors import discharge_json, overstress_json

Client = AsyncTestClient[Any]
JSON = {"Content-Type": "application/json"}
LED_CAPACITOR = {"start_mv": 21_800, "capacitance_uf": 4.7, "bleed_ohm": 5.53e6, "led_count": 10}


async def test_a_discharge_is_the_engines_own_bytes(client: Client) -> None:
    sent = json.dumps(LED_CAPACITOR).encode()
    answer = await client.post("/api/discharge", content=sent, headers=JSON)
    assert (answer.status_code, answer.content) == (200, discharge_json(sent))


async def test_a_capacitor_of_minus_one_is_refused_by_name_with_an_example(client: Client) -> None:
    answer = await client.post("/api/discharge", json={**LED_CAPACITOR, "capacitance_uf": -1})
    assert answer.json() == {"status": 422, "problem": {
        "code": "impossible_value", "message": "nothing on a bench has this value", "where": "capacitance_uf",
        "given": "-1.0", "expected": "above 0 and at most 10000000 microfarads", "example": "capacitance_uf: 4.7",
    }}


async def test_a_capacitor_in_words_is_refused_by_its_path(client: Client) -> None:
    answer = await client.post("/api/discharge", json={**LED_CAPACITOR, "capacitance_uf": "4.7 uF"})
    problem = answer.json()["problem"]
    assert (answer.status_code, problem["where"], problem["code"]) == (400, "capacitance_uf", "wrong_value")


async def test_the_picture_is_the_engines_own_bytes(client: Client) -> None:
    sent = msgspec.json.encode({"board": T10, "socket": "J7"})
    answer = await client.post("/api/overstress", content=sent, headers=JSON)
    assert (answer.status_code, answer.content) == (200, overstress_json(sent))


async def test_the_picture_of_a_socket_the_board_has_not_is_refused_by_name(client: Client) -> None:
    sent = msgspec.json.encode({"board": T10, "socket": "J99"})
    answer = await client.post("/api/overstress", content=sent, headers=JSON)
    problem = answer.json()["problem"]
    assert (answer.status_code, problem["code"], problem["given"]) == (422, "no_such_socket", "J99")
    assert problem["example"] == "J7"
