"""A shorted rail and a proven repair over HTTP: the engine's own bytes, and refusals in the one shape."""

from pathlib import Path
from typing import Any

import msgspec
import pytest
from litestar.testing import AsyncTestClient

from demo.shop.boards.marlbeck_s4 import S4
from server.access.access import Access
from server.app import create_app
from server.engine.proof import repair_proof_json
from server.engine.shorts import short_rail_json
from shared_models.power import RailPoint
from shared_models.shorts import ShortRailQuestion
from tests.api.conftest import THIS_MACHINE, SeenFrom
from tests.support.route_requests import ASKED_BY_HAND

Client = AsyncTestClient[Any]
JSON = {"Content-Type": "application/json"}
SHEET = Path("demo/sheets/t10_slipped_in_crooked.json").read_bytes()
RAIL = msgspec.json.encode(ShortRailQuestion(board=S4, rail="3V3", set_mv=5000, points=(
    RailPoint(id="p1", job_id="j", rail="3V3", place="C1", mv=-40, along_squares=0, taken_at_ms=1),
)))


async def test_both_answers_are_the_engines_own_bytes(client: Client) -> None:
    for route, sent, door in (("proof", SHEET, repair_proof_json), ("short-rail", RAIL, short_rail_json)):
        answer = await client.post(f"/api/{route}", content=sent, headers=JSON)
        assert (answer.status_code, answer.content) == (200, door(sent))
    assert {"POST /api/proof", "POST /api/short-rail"} == set(ASKED_BY_HAND)


async def test_a_rail_answer_refuses_by_name_and_loses_nothing(client: Client) -> None:
    answer = (await client.post("/api/short-rail", content=RAIL, headers=JSON)).json()
    assert [one["code"] for one in answer["refusals"]] == ["above_ceiling", "negative"]
    assert answer["refusals"][1]["point_ids"] == ["p1"]
    assert answer["waits_for"] and answer["supply"]["ceiling_mv"] == 1000


@pytest.mark.parametrize(("route", "sent", "status", "code", "where"), [
    ("short-rail", RAIL.replace(b'"rail":"3V3"', b'"rail":"9V9"', 1), 422, "no_such_rail", "$.rail"),
    ("short-rail", RAIL.replace(b'"mv":-40', b'"mv":"-40 mV"'), 400, "wrong_value", "points[0].mv"),
    ("proof", SHEET.replace(b'"socket": "J7"', b'"socket": "J99"', 1), 422, "no_such_socket", "$.socket"),
])
async def test_what_cannot_be_answered_is_refused_by_its_place(
    client: Client, route: str, sent: bytes, status: int, code: str, where: str
) -> None:
    answer = await client.post(f"/api/{route}", content=sent, headers=JSON)
    problem = answer.json()["problem"]
    assert (answer.status_code, problem["code"], problem["where"]) == (status, code, where)
    assert problem["given"] and problem["expected"] and problem["example"]


async def test_without_a_token_neither_door_is_open(tmp_path: Path) -> None:
    app = create_app(tmp_path / "data", None, access=Access())
    async with AsyncTestClient(SeenFrom(app), base_url=THIS_MACHINE) as stranger:
        for route, sent in (("proof", SHEET), ("short-rail", RAIL)):
            answer = await stranger.post(f"/api/{route}", content=sent, headers=JSON)
            assert (answer.status_code, answer.json()["problem"]["code"]) == (401, "not_paired")
