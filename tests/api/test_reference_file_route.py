"""A file of healthy boards over HTTP: given back when it can be taken, else a sentence with its place."""

import copy
from typing import Any

import msgspec
from litestar.testing import AsyncTestClient

from server.engine.reference_file import reference_file_json
from shared_models.base import BODY_V
from tests.engine.test_reference_file import FILE

Client = AsyncTestClient[Any]


async def test_a_good_file_comes_back_as_the_engine_reads_it(client: Client) -> None:
    answer = await client.post("/api/reference-file", json=FILE)
    assert (answer.status_code, answer.content) == (200, reference_file_json(msgspec.json.encode(FILE)))


async def test_a_newer_file_is_refused_as_newer_whatever_else_it_holds(client: Client) -> None:
    answer = await client.post("/api/reference-file", json={**FILE, "v": BODY_V + 1, "new_field": 1})
    problem = answer.json()["problem"]
    assert (answer.status_code, problem["code"], problem["where"]) == (422, "newer_file", "$.v")


async def test_a_wrong_field_is_named_by_its_place(client: Client) -> None:
    spoilt = copy.deepcopy(FILE)
    spoilt["readings"][0]["verdict"] = "good"
    problem = (await client.post("/api/reference-file", json=spoilt)).json()["problem"]
    assert (problem["code"], problem["where"]) == ("unknown_field", "readings[0].verdict")
