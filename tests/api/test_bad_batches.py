"""Batches no phone of ours sends: refused in words, with nothing half done, and nobody else held up."""

import json
from typing import Any

import pytest
from litestar.testing import AsyncTestClient

from tests.api.test_error_shape import problem_of
from tests.sync.making import added, batch, change, fields_set, reading

Client = AsyncTestClient[Any]
JSON = {"content-type": "application/json"}


async def push(client: Client, content: bytes) -> Any:
    """Sends a body as it is."""
    return await client.post("/api/changes", content=content, headers=JSON)


async def ids_there(client: Client) -> list[str]:
    """The ids of all that is stored."""
    page = (await client.get("/api/changes?after=0&limit=1000")).json()
    return [one["change"]["id"] for one in page["changes"]]


async def test_a_batch_of_a_hundred_thousand_is_refused_whole_and_the_largest_is_taken(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    problem = problem_of(await push(client, b'{"changes": [' + b",".join([b"{}"] * 100_000) + b"]}"), 413)
    assert problem.code == "too_many_changes" and "100000" in problem.given and "smaller" in problem.example
    assert await ids_there(client) == []
    monkeypatch.setattr("server.sync.exchange.LARGEST_BATCH", 50)
    many = [change(number, fields_set({"title": str(number)})) for number in range(1, 52)]
    problem_of(await push(client, batch(*many)), 413)
    assert await ids_there(client) == []
    answer = await push(client, batch(*many[:50]))
    assert {one["result"] for one in answer.json()["answers"]} == {"stored"}


async def test_json_nested_ten_thousand_deep_inside_a_change_keeps_no_other_out_for_long(client: Client) -> None:
    """As a whole it may be unreadable; halved, as a phone does, only the deep one stays behind."""
    deep = '{"a":' * 10_000 + "1" + "}" * 10_000
    ours = f'{{"what": "added", "kind": "reading", "record": {deep}, "v": 1}}'
    for body in (ours, f'{{"what": "made by a newer app", "v": 9, "record": {deep}}}'):
        bad = json.dumps(change(2, "BODY")).replace('"BODY"', body).encode()
        good = change(1, added(reading("r-1")))
        whole = await push(client, b'{"changes": [' + json.dumps(good).encode() + b"," + bad + b"]}")
        alone = await push(client, b'{"changes": [' + bad + b"]}")
        for answer in (whole, alone):
            said = answer.json()
            codes = [one["problem"]["code"] for one in said.get("answers", ()) if one["result"] == "refused"]
            codes += [said["problem"]["code"]] if answer.status_code == 400 else []
            assert codes == ["too_deep"]
        assert (await push(client, batch(good))).json()["answers"][0]["result"] in ("stored", "had")
        assert await ids_there(client) == [good["id"]]


async def test_a_forged_sequence_takes_nobodys_place(client: Client) -> None:
    mine = [change(number, fields_set({"title": str(number)})) for number in (1, 2)]
    await push(client, batch(*mine))
    forged = {**change(2, fields_set({"title": "forged"})), "id": "another-id"}
    far = {**change(2**53 - 1, fields_set({"note": "far ahead"}), hlc_ms=1_767_225_600_009), "id": "far"}
    outside = {**change(1, fields_set({"note": "x"})), "id": "outside", "device_seq": 2**53}
    answers = (await push(client, batch(forged, far, outside))).json()["answers"]
    assert [one["result"] for one in answers] == ["refused", "stored", "refused"]
    assert answers[0]["problem"]["code"] == "device_seq_taken" and answers[2]["problem"]["where"] == "device_seq"
    assert await ids_there(client) == [*(one["id"] for one in mine), "far"]


async def test_what_names_a_job_or_a_picture_that_is_not_there_yet_waits_for_it(client: Client) -> None:
    """In a change, what it names may come later, by another phone, or never."""
    photo = {
        "id": "p-1", "of": {"what": "job", "job_id": "later"}, "sha256": "0" * 64, "mime": "image/jpeg",
        "size_bytes": 9, "width_px": 1, "height_px": 1, "taken_at_ms": 1, "v": 1,
    }
    third = reading("r-2", "later", supersedes="none-yet")
    sent = [added(reading("r-1", "later")), added(photo, "photo"), added(third)]
    answers = (await push(client, batch(*(change(n, body) for n, body in enumerate(sent, 1))))).json()["answers"]
    assert {one["result"] for one in answers} == {"stored"}
    problem = problem_of(await client.get("/api/jobs/later/sheet"), 404)
    assert problem.code == "no_sheet" and "job" in problem.message
    problem = problem_of(await client.get(f"/api/photos/{'0' * 64}"), 404)
    assert "may have come before it" in problem.message
    await push(client, batch(change(4, fields_set({"title": "Now it is here"}, "later"))))
    assert "board" in problem_of(await client.get("/api/jobs/later/sheet"), 404).message
