"""Closed jobs over the wire: the engine's own bytes, and closings that move the sheet of every other job."""

from typing import Any

import msgspec
from litestar.testing import AsyncTestClient

from demo.shop.boards.quillon_t10 import T10
from demo.shop.t10_jobs import all_sheets
from server.engine.learning import learnt
from server.engine.learning_doors import closing_json, honesty_json, learnt_json
from shared_models.closing import Closing, SaidBefore, ShopFigures, WasWrong
from shared_models.learning import LearningQuestion
from tests.sync.making import added, batch, change, fields_set, removed

Client = AsyncTestClient[Any]
JSON = {"Content-Type": "application/json"}


def closing(number: int, story: Any, **more: Any) -> Closing:
    """A closing with an odd number in it, so that its rounding is seen."""
    return Closing(
        id=f"closing-{number}", job_id=more.pop("job_id", f"closed-{number}"), closed_at_ms=1_700_000_000_000 + number,
        was_wrong=(WasWrong(story=story, how_known="seen"),), touches=30 + number, failed_touches=1, pitch_mm=0.5,
        what_happened=("liquid",), said_before=(SaidBefore(story="wet", odds=0.71), SaidBefore(story="leak", odds=0.2)),
        **more,
    )


def plain(record: Any) -> dict[str, Any]:
    """A Struct as it stands in a change."""
    return msgspec.to_builtins(record)


CLOSINGS = tuple(closing(n, story) for n, story in enumerate(("wet", "leak", "wet", "elsewhere"), start=1))


async def keep(client: Client, device: str, *bodies: Any) -> None:
    """Stores bodies as the changes of a device of their own."""
    sent = batch(*(change(n, one, device=device) for n, one in enumerate(bodies, start=1)))
    answer = await client.post("/api/changes", content=sent, headers=JSON)
    assert {one["result"] for one in answer.json()["answers"]} == {"stored"}


async def test_what_was_learnt_and_how_honest_it_was_are_the_engines_own_bytes(client: Client) -> None:
    await keep(
        client, "phone-a", *(added(plain(one), "closing") for one in CLOSINGS),
        fields_set({"learnt_from_ms": CLOSINGS[0].closed_at_ms}, "shop", "shop"), removed("closing-4", "closing"),
    )
    figures = ShopFigures(id="shop", learnt_from_ms=CLOSINGS[0].closed_at_ms)
    asked = msgspec.json.encode(LearningQuestion(closings=CLOSINGS[:3], figures=figures))
    for path, door in (("/api/learnt", learnt_json), ("/api/honesty", honesty_json)):
        answer = await client.get(path)
        assert (answer.status_code, answer.content) == (200, door(asked))


async def test_a_closings_facts_are_the_engines_own_bytes_and_a_job_unheard_of_is_refused(client: Client) -> None:
    sheet = all_sheets()["t10_slipped_in_crooked"]
    await keep(
        client, "phone-a", added(plain(T10), "board_version"),
        fields_set({"board_version_id": T10.id, "socket": "J7"}, "t10-slipped"),
        *(added(plain(one)) for one in sheet.readings),
    )
    wrong = [{"story": "plug_off_by", "subject": "-1", "how_known": "seen"}]
    answer = await client.post("/api/closing-facts", json={"job_id": "t10-slipped", "was_wrong": wrong})
    gathered = (await client.get("/api/jobs/t10-slipped/sheet")).json()
    question = msgspec.json.encode({"sheet": gathered, "was_wrong": wrong})
    assert (answer.status_code, answer.content) == (200, closing_json(question))
    problem = (await client.post("/api/closing-facts", json={"job_id": "job-x"})).json()["problem"]
    assert (problem["code"], problem["given"]) == ("no_sheet", '"job-x"')


async def test_closings_move_the_sheet_of_every_other_job_and_a_switch_stops_that(client: Client) -> None:
    devices = iter(f"phone-{n}" for n in range(9))

    async def shop() -> Any:
        return (await client.get("/api/jobs/job-open/sheet")).json().get("shop")

    def built(*closings: Closing, **figures: Any) -> Any:
        question = LearningQuestion(closings=closings, figures=ShopFigures(id="shop", **figures) if figures else None)
        return msgspec.json.decode(msgspec.json.encode(learnt(question).shop))

    await keep(
        client, next(devices), added(plain(T10), "board_version"),
        fields_set({"board_version_id": T10.id, "socket": "J7"}, "job-open"),
    )
    assert await shop() is None
    await keep(client, next(devices), *(added(plain(one), "closing") for one in CLOSINGS))
    assert await shop() == built(*CLOSINGS)
    other = closing(9, "bridge", job_id="closed-1")
    await keep(client, next(devices), added(plain(other), "closing"))
    assert await shop() == built(*CLOSINGS[1:]), "a job whose closings differ does not count"
    await keep(client, next(devices), removed("closing-9", "closing"), removed("closed-4", "job"))
    assert await shop() == built(*CLOSINGS[:3]), "nor does a closing that was taken back, nor one of a job that was"
    await keep(client, next(devices), fields_set({"learn": False}, "shop", "shop"))
    assert await shop() is None
    anew = {"learn": True, "learnt_from_ms": CLOSINGS[0].closed_at_ms}
    await keep(client, next(devices), fields_set(anew, "shop", "shop"))
    assert await shop() == built(*CLOSINGS[:3], learnt_from_ms=CLOSINGS[0].closed_at_ms)
    opinion = (await client.get("/api/jobs/job-open/opinion")).json()
    assert opinion["learnt"][0]["sentence"] == "2 closed jobs of this shop move the odds."
