"""Opinions over HTTP: the engine's own bytes, a desk that sees what the phone sees, and bad sheets."""

import asyncio
import json
import threading
from pathlib import Path
from typing import Any

import msgspec
import pytest
from litestar.testing import AsyncTestClient

from server.engine.door import form_opinion, opinion_json, sheet_digest
from shared_models.change import ProblemAnswer
from shared_models.opinion import Opinion
from shared_models.sheet import BenchSheet
from tests.api.conftest import in_this_loop
from tests.sync.making import added, batch, change, fields_set, removed

Client = AsyncTestClient[Any]
JSON = {"Content-Type": "application/json"}
SHEETS = Path(__file__).parents[2] / "demo" / "sheets"
SHEET = SHEETS / "t10_new_socket_stripes.json"


def sheet_of(path: Path = SHEET) -> dict[str, Any]:
    """A kept sheet as plain values."""
    return json.loads(path.read_text(encoding="utf-8"))


@pytest.mark.parametrize("name", ["t10_new_socket_stripes", "s4_core_honestly_low", "v2_zif_one_torn"])
async def test_the_route_gives_the_engines_own_bytes(client: Client, name: str) -> None:
    sent = (SHEETS / f"{name}.json").read_bytes()
    answer = await client.post("/api/opinion", content=sent, headers=JSON)
    assert answer.status_code == 200 and answer.headers["content-type"] == "application/json"
    assert answer.content == opinion_json(sent)


async def test_a_long_opinion_holds_nobody_up(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    begun, may_end = threading.Event(), threading.Event()

    def long_one(sheet: BenchSheet) -> Opinion:
        begun.set()
        assert may_end.wait(timeout=60), "the loop stood still while an opinion was formed"
        return form_opinion(sheet)

    monkeypatch.setattr("server.api.opinion.form_opinion", long_one)
    async with in_this_loop(tmp_path) as client:
        asked = asyncio.create_task(client.post("/api/opinion", content=SHEET.read_bytes(), headers=JSON))
        while not begun.is_set():
            await asyncio.sleep(0.005)
        assert (await client.get("/api/health")).json()["ok"] is True
        assert not asked.done()
        may_end.set()
        assert (await asked).status_code == 200


# --- bad input: what is not used is named, what cannot be judged is refused, the server stays up ---


def one_reading_spoilt(**fields: Any) -> dict[str, Any]:
    """The sheet with its last reading spoilt."""
    sheet = sheet_of()
    sheet["readings"][-1].update(fields)
    return sheet


@pytest.mark.parametrize("fields", [
    {"touch": {"what": "contact", "contact": "99"}},
    {"as_typed": "banana"},
    {"as_typed": "4 apples"},
    {"as_typed": "-452"},
    {"as_typed": "987654321"},
    {"as_typed": ""},
    {"socket": "J99"},
    {"meter_id": "no-such-meter"},
], ids=str)
async def test_a_reading_that_cannot_be_used_is_named_and_the_rest_is_judged(
    client: Client, fields: dict[str, Any]
) -> None:
    sheet = one_reading_spoilt(**fields)
    spoilt = sheet["readings"][-1]
    answer = await client.post("/api/opinion", json=sheet)
    assert answer.status_code == 200, answer.content[:400]
    opinion = answer.json()
    named = [one["record_id"] for one in opinion.get("set_aside", [])]
    named += [one.get("reading_id") for one in opinion.get("questions", [])]
    said = json.dumps([opinion.get("questions", []), opinion.get("reminders", [])])
    assert spoilt["id"] in named or (spoilt["meter_id"] in said and "meter_id" in fields)
    assert len(opinion["contacts"]) == 34


async def test_a_value_that_fits_two_units_is_asked_about(client: Client) -> None:
    """0.452 on a display in mV: volts typed by habit, or half a millivolt?"""
    sheet = one_reading_spoilt(as_typed="0.452")
    [question] = (await client.post("/api/opinion", json=sheet)).json()["questions"]
    assert question["reading_id"] == sheet["readings"][-1]["id"] and len(question["could_be"]) == 2


async def test_references_that_disagree_are_set_aside_by_name_not_averaged_in(client: Client) -> None:
    sheet = sheet_of()
    odd = [one for one in sheet["known_good_readings"] if one["of"]["reference_board_id"] == "t10-good-3"]
    assert odd
    for one in odd:
        if one["touch"].get("contact") == "9":
            one["as_typed"] = "120"
    opinion = (await client.post("/api/opinion", json=sheet)).json()
    [nine] = [one for one in opinion["contacts"] if one["contact"] == "9"]
    assert nine["band"]["set_aside_boards"] == ["t10-good-3"]
    assert nine["band"]["centre_mv"] > 300


@pytest.mark.parametrize(("spoil", "where"), [
    (lambda sheet: sheet.update(socket="J99"), "socket"),
    (lambda sheet: sheet["board"].update(sockets=[]), "socket"),
    (lambda sheet: sheet["board"]["sockets"][0].update(contacts=[]), "contacts"),
], ids=["no such socket", "no sockets", "no contacts"])
async def test_a_sheet_with_nothing_to_judge_is_refused_in_words(client: Client, spoil: Any, where: str) -> None:
    sheet = sheet_of()
    spoil(sheet)
    answer = await client.post("/api/opinion", json=sheet)
    assert answer.status_code == 422
    problem = msgspec.json.decode(answer.content, type=ProblemAnswer).problem
    assert where in problem.where and problem.expected and problem.example
    assert (await client.get("/api/health")).status_code == 200


# --- a job of the record ---


def changes_of(sheet: dict[str, Any]) -> list[dict[str, Any]]:
    """The changes of a phone that has recorded everything on the sheet."""
    facts = [("board_version", sheet["board"])]
    facts += [("reading", one) for one in [*sheet["known_good_readings"], *sheet["readings"]]]
    facts += [("observation", one) for one in sheet.get("observations", [])]
    facts += [("make_safe", one) for one in sheet["make_safe"]]
    facts += [("correction", one) for one in sheet.get("corrections", [])]
    bodies = [added(record, kind) for kind, record in facts]
    for kind in ("meter", "reference_board"):
        for one in sheet[f"{kind}s"]:
            fields = {name: value for name, value in one.items() if name not in ("id", "v")}
            bodies.append(fields_set(fields, one["id"], kind))
    job_id = sheet["readings"][0]["of"]["job_id"]
    pins = {"board_version_id": sheet["board"]["id"], "socket": sheet["socket"], "intake": sheet["intake"],
            "air_c": sheet["air_c"], "meter_id": sheet["meter_id"]}
    return [change(n, body) for n, body in enumerate([*bodies, fields_set(pins, job_id)], 1)]


async def recorded(client: Client, sheet: dict[str, Any]) -> str:
    """Pushes all changes of a sheet; gives the job's id."""
    answer = await client.post("/api/changes", content=batch(*changes_of(sheet)), headers=JSON)
    assert {one["result"] for one in answer.json()["answers"]} == {"stored"}, answer.json()
    return sheet["readings"][0]["of"]["job_id"]


async def test_the_desk_sees_the_sheet_the_phone_recorded_and_the_same_opinion(client: Client) -> None:
    sheet = sheet_of()
    job_id = await recorded(client, sheet)
    answer = await client.get(f"/api/jobs/{job_id}/sheet")
    assert answer.status_code == 200
    gathered = msgspec.json.decode(answer.content, type=BenchSheet)
    assert gathered.sheet_id == job_id
    assert sheet_digest(gathered) == sheet_digest(msgspec.convert(sheet, BenchSheet))
    opinion = (await client.get(f"/api/jobs/{job_id}/opinion")).json()
    phones = json.loads(opinion_json(json.dumps({**sheet, "sheet_id": job_id}).encode()))
    assert opinion == phones


async def test_rows_taken_back_go_along_by_name_and_the_engine_leaves_them_out(client: Client) -> None:
    sheet = sheet_of()
    job_id = await recorded(client, sheet)
    gone = sheet["readings"][5]["id"]
    number = len(changes_of(sheet)) + 1
    await client.post("/api/changes", content=batch(change(number, removed(gone))), headers=JSON)
    gathered = (await client.get(f"/api/jobs/{job_id}/sheet")).json()
    assert gathered["removed_ids"] == [gone]
    assert len(gathered["readings"]) == len(sheet["readings"])
    opinion = (await client.get(f"/api/jobs/{job_id}/opinion")).json()
    assert gone not in [reading_id for one in opinion["contacts"] for reading_id in one.get("reading_ids", [])]


async def test_other_jobs_and_other_boards_stay_out_of_a_sheet(client: Client) -> None:
    sheet = sheet_of()
    job_id = await recorded(client, sheet)
    number = len(changes_of(sheet))
    other = {**sheet["readings"][0], "id": "of-another-job", "of": {"what": "job", "job_id": "job-2"}}
    strange = {**sheet["known_good_readings"][0], "id": "of-another-board"}
    strange["of"] = {"what": "reference_board", "reference_board_id": "healthy-other"}
    bodies = [
        added(other), added(strange), fields_set({"board_version_id": "another"}, "healthy-other", "reference_board"),
        fields_set({"label": "known by a later edit only"}, "healthy-half", "reference_board"),
        fields_set({"test_current_ma": 0.5}, "meter-half", "meter"),
    ]
    extra = [change(number + n, body) for n, body in enumerate(bodies, 1)]
    answer = await client.post("/api/changes", content=batch(*extra), headers=JSON)
    assert {one["result"] for one in answer.json()["answers"]} == {"stored"}
    text = (await client.get(f"/api/jobs/{job_id}/sheet")).text
    for stranger in ("of-another-job", "of-another-board", "healthy-other", "healthy-half", "meter-half"):
        assert stranger not in text


async def test_stage_and_mode_are_asked_for(client: Client) -> None:
    job_id = await recorded(client, sheet_of())
    sheet = (await client.get(f"/api/jobs/{job_id}/sheet?mode=sweep&stage=after_repair")).json()
    assert (sheet["mode"], sheet["stage"]) == ("sweep", "after_repair")
    answer = await client.get(f"/api/jobs/{job_id}/sheet?stage=never")
    assert answer.status_code == 400
    problem = answer.json()["problem"]
    assert (problem["where"], problem["given"]) == ("query.stage", "never") and '"after_repair"' in problem["expected"]


@pytest.mark.parametrize("route", ["sheet", "opinion"])
async def test_a_job_without_a_sheet_says_what_it_lacks(client: Client, route: str) -> None:
    sheet = sheet_of()

    async def lacks() -> str:
        answer = await client.get(f"/api/jobs/job-1/{route}")
        assert answer.status_code == 404 and answer.json()["problem"]["code"] == "no_sheet"
        return answer.json()["problem"]["message"]

    async def push(number: int, body: dict[str, Any]) -> None:
        await client.post("/api/changes", content=batch(change(number, body)), headers=JSON)

    assert "its job" in await lacks()
    await push(1, fields_set({"title": "T10"}))
    assert "its board" in await lacks()
    await push(2, fields_set({"board_version_id": sheet["board"]["id"]}))
    assert "its board" in await lacks()
    await push(3, added(sheet["board"], "board_version"))
    assert "its socket" in await lacks()
    await push(4, fields_set({"socket": sheet["socket"]}))
    assert (await client.get(f"/api/jobs/job-1/{route}")).status_code == 200
    await push(5, removed("job-1", "job"))
    assert "its job" in await lacks()
