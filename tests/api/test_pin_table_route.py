"""The pin table by the route: the engine's answer, and errors in the one shape."""

from typing import Any

import msgspec
from litestar.testing import AsyncTestClient

from server.engine.pin_table import pin_table
from shared_models.pin_table import PinTableQuestion

ASKED = {"text": "1,GND\n2,D0N\n", "delimiter": "comma", "first_line": "contact", "columns": {"contact": 1, "name": 2}}


async def test_the_route_gives_the_engines_own_answer(client: AsyncTestClient[Any]) -> None:
    answer = await client.post("/api/pin-table", json=ASKED)
    assert (answer.status_code, answer.content) == (
        200, msgspec.json.encode(pin_table(msgspec.convert(ASKED, PinTableQuestion)))
    )


async def test_errors_by_line_are_an_answer_and_a_wrong_question_is_a_problem(client: AsyncTestClient[Any]) -> None:
    answer = (await client.post("/api/pin-table", json={**ASKED, "text": "1,GND\n1,D0N\n"})).json()
    assert [(one["line"], one["problem"]["code"]) for one in answer["errors"]] == [(2, "doubled_contact")]
    assert "contacts" not in answer
    twice = await client.post("/api/pin-table", json={**ASKED, "columns": {"contact": 1, "role": 1}})
    assert (twice.status_code, twice.json()["problem"]["where"]) == (422, "columns.role")
    guessed = await client.post("/api/pin-table", json={**ASKED, "delimiter": "|"})
    assert (guessed.status_code, guessed.json()["problem"]["where"]) == (400, "delimiter")
