"""Every mistake is told in one shape: what was given, where, what was expected, an example that works."""

import asyncio
import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import httpx
import msgspec
import pytest
from litestar.testing import AsyncTestClient

from server.api.edge import BODY_LIMIT_BYTES
from server.app import create_app
from server.store.at_once import Written
from server.store.database import Database
from shared_models.change import ProblemAnswer
from tests.api.conftest import THIS_MACHINE, SeenFrom, edge_in_this_loop, in_this_loop, pair_here
from tests.sync.making import added, batch, change, reading

Client = AsyncTestClient[Any]
JSON = {"Content-Type": "application/json"}
BODY_ROUTES = [
    "/api/opinion", "/api/discharge", "/api/overstress", "/api/changes", "/api/meter-sheet", "/api/meter-pair",
    "/api/reference-file", "/api/proof", "/api/short-rail", "/api/closing-facts",
]
BOARD = {"id": "b", "device": "d", "board": "b", "sockets": []}
SHEET = {"sheet_id": "s-1", "asked_at_ms": 1, "board": BOARD, "socket": "J7"}


def problem_of(answer: Any, status: int) -> Any:
    """The problem of an answer that has exactly the one shape."""
    assert answer.status_code == status, answer.content[:500]
    assert answer.headers["content-type"] == "application/json"
    told = msgspec.json.decode(answer.content, type=ProblemAnswer)
    assert told.status == status and told.problem.code and told.problem.message
    return told.problem


async def still_up(client: httpx.AsyncClient) -> None:
    """The server answers, and takes a change."""
    assert (await client.get("/api/health")).json()["ok"] is True
    answer = await client.post("/api/changes", content=batch(change(1, added(reading()))), headers=JSON)
    assert answer.json()["answers"][0]["result"] in ("stored", "had")


@pytest.mark.parametrize("route", BODY_ROUTES)
@pytest.mark.parametrize(("content", "code", "where"), [
    (b"", "empty", "the whole body"),
    (b"   \n", "empty", "the whole body"),
    (b"readings: none", "not_json", "the whole body, byte 0"),
    (b'{"changes": [', "not_json", "the whole body, byte 13"),
    (b'{"changes": [],}', "not_json", "the whole body, byte 15"),
    (b'{"a": "\xff"}', "not_json", "the whole body, byte 7"),
    (b"\xff\xfe{\x00}\x00", "not_json", "the whole body, byte 0"),
    (b"null", "wrong_value", "the whole body"),
    (b"[]", "wrong_value", "the whole body"),
    (b"12", "wrong_value", "the whole body"),
    (b'{"surprise": 1}', "unknown_field", "surprise"),
    (b"{}", "missing_field", None),
    (b"[" * 100_000 + b"]" * 100_000, "too_deep", "the whole body"),
    (b'{"a":' * 100_000 + b"1" + b"}" * 100_000, "too_deep", "the whole body"),
    (b"[" * 100_000, None, None),
])
async def test_a_body_that_cannot_be_read(
    client: Client, route: str, content: bytes, code: str | None, where: str | None
) -> None:
    problem = problem_of(await client.post(route, content=content, headers=JSON), 400)
    assert code is None or problem.code == code
    assert where is None or problem.where == where
    assert problem.given and problem.expected and problem.example
    await still_up(client)


@pytest.mark.parametrize("route", BODY_ROUTES)
@pytest.mark.parametrize("media_type", ["text/plain", "text/plain; charset=utf-8", "application/x-www-form-urlencoded",
                                        "multipart/form-data; boundary=x", "application/jsonp", "", "application"])
async def test_a_body_that_is_not_said_to_be_json(client: Client, route: str, media_type: str) -> None:
    content = batch(change(1, added(reading())))
    problem = problem_of(await client.post(route, content=content, headers={"Content-Type": media_type}), 415)
    assert (problem.where, problem.example) == ("the header Content-Type", "Content-Type: application/json")
    assert (await client.get("/api/changes?after=0")).json()["changes"] == []


async def test_json_may_name_its_letters(client: Client) -> None:
    headers = {"Content-Type": "application/json; charset=utf-8"}
    assert (await client.post("/api/changes", content=b'{"changes":[]}', headers=headers)).status_code == 200


@pytest.mark.parametrize("route", BODY_ROUTES)
async def test_a_body_of_100_mb_is_refused_before_it_is_read(tmp_path: Path, route: str) -> None:
    """By its announced length nothing is read; without one, no more than the limit and a piece."""
    piece, pieces_asked_for = b"x" * 65_536, 0

    async def receive() -> Any:
        nonlocal pieces_asked_for
        pieces_asked_for += 1
        return {"type": "http.request", "body": piece, "more_body": pieces_asked_for * len(piece) < 100_000_000}

    for announced in (True, False):
        sent: list[Any] = []
        pieces_asked_for = 0

        async def send(message: Any, sent: list[Any] = sent) -> None:
            sent.append(message)

        headers = [(b"host", b"localhost"), (b"content-type", b"application/json")]
        scope = {
            "type": "http", "method": "POST", "path": route, "raw_path": route.encode(), "query_string": b"",
            "headers": headers + ([(b"content-length", b"100000000")] if announced else []),
            "client": ("127.0.0.1", 1), "server": ("127.0.0.1", 80), "scheme": "http", "http_version": "1.1",
        }
        async with edge_in_this_loop(tmp_path) as (edge, client):
            with_token = [*scope["headers"], (b"authorization", client.headers["authorization"].encode())]
            await edge(scope | {"headers": with_token}, receive, send)
        assert sent[0]["status"] == 413
        problem = msgspec.json.decode(sent[1]["body"], type=ProblemAnswer).problem
        assert (problem.code, problem.expected) == ("too_large", f"at most {BODY_LIMIT_BYTES} bytes")
        assert pieces_asked_for <= (0 if announced else BODY_LIMIT_BYTES // len(piece) + 1)


async def test_a_body_just_inside_the_limit_is_read(client: Client) -> None:
    body = b'{"changes":[]' + b" " * (BODY_LIMIT_BYTES - 14) + b"}"
    assert len(body) == BODY_LIMIT_BYTES
    assert (await client.post("/api/changes", content=body, headers=JSON)).status_code == 200
    problem_of(await client.post("/api/changes", content=body + b" ", headers=JSON), 413)


@pytest.mark.parametrize(("altered", "where", "code"), [
    ({"board": {"id": "b", "device": "d", "board": "b"}}, "board.sockets", "missing_field"),
    ({"socket": 7}, "socket", "wrong_value"),
    ({"asked_at_ms": "1"}, "asked_at_ms", "wrong_value"),
    ({"asked_at_ms": 1.5}, "asked_at_ms", "wrong_value"),
    ({"asked_at_ms": -1}, "asked_at_ms", "wrong_value"),
    ({"mode": "wild"}, "mode", "wrong_value"),
    ({"air_c": 900}, "air_c", "wrong_value"),
    ({"readings": [reading(), reading("r-2", display_unit="furlong")]}, "readings[1].display_unit", "wrong_value"),
    ({"readings": [reading(touch={"what": "contact", "contact": "#5"})]}, "readings[0].touch.contact", "wrong_value"),
    ({"readings": [reading(touch={"what": "sniff"})]}, "readings[0].touch.what", "wrong_value"),
    ({"readings": [reading(volts=3)]}, "readings[0].volts", "unknown_field"),
    ({"readings": {}}, "readings", "wrong_value"),
    ({"intake": {"what_happened": ["fire"]}}, "intake.what_happened[0]", "wrong_value"),
    ({"meters": [{"id": "m", "name": "M", "test_current_ma": 0}]}, "meters[0].test_current_ma", "wrong_value"),
])
async def test_a_sheet_is_refused_by_the_path_of_what_is_wrong(
    client: Client, altered: dict[str, Any], where: str, code: str
) -> None:
    problem = problem_of(await client.post("/api/opinion", json={**SHEET, **altered}), 400)
    assert (problem.where, problem.code) == (where, code)
    assert problem.given and problem.expected and problem.example


async def test_the_exact_words_for_a_wrong_choice(client: Client) -> None:
    answer = await client.post("/api/opinion", json={**SHEET, "readings": [reading(display_unit="mv")]})
    assert answer.json() == {"status": 400, "problem": {
        "code": "wrong_value", "message": '"mv" cannot be used here.', "where": "readings[0].display_unit",
        "given": '"mv"', "expected": 'one of "A", "Mohm", "V", "kohm", "mA", "mV", "ohm"', "example": '"A"',
    }}


@pytest.mark.parametrize(("query", "where", "given"), [
    ("", "query.after", "nothing"), ("?limit=5", "query.after", "nothing"),
    ("?after=", "query.after", ""), ("?after=x", "query.after", "x"), ("?after=-1", "query.after", "-1"),
    ("?after=1.5", "query.after", "1.5"), ("?after=9007199254740992", "query.after", "9007199254740992"),
    (f"?after={'9' * 400}", "query.after", "9" * 400),
    ("?after=0&limit=0", "query.limit", "0"), ("?after=0&limit=1001", "query.limit", "1001"),
    ("?after=0&limit=many", "query.limit", "many"),
])
async def test_a_cursor_that_is_none(client: Client, query: str, where: str, given: str) -> None:
    problem = problem_of(await client.get(f"/api/changes{query}"), 400)
    assert (problem.where, problem.given) == (where, given)
    assert problem.expected.startswith("a whole number") and problem.example.startswith("/api/changes?")
    assert (await client.get(f"/api/changes?after={2**53 - 1}")).json()["changes"] == []


@pytest.mark.parametrize("path", ["/api/nothing", "/api", "/api/changes/5", "/schema", "/schema/swagger", "/nowhere"])
async def test_an_unknown_address(client: Client, path: str) -> None:
    problem = problem_of(await client.get(path), 404)
    assert (problem.code, problem.given) == ("no_such_route", path)


@pytest.mark.parametrize(("method", "path", "allowed"), [
    ("PUT", "/api/changes", "GET, POST"), ("DELETE", "/api/changes", "GET, POST"),
    ("OPTIONS", "/api/changes", "GET, POST"), ("GET", "/api/opinion", "POST"), ("POST", "/api/health", "GET"),
])
async def test_a_wrong_method(client: Client, method: str, path: str, allowed: str) -> None:
    answer = await client.request(method, path)
    problem = problem_of(answer, 405)
    assert (problem.given, problem.expected, answer.headers["allow"]) == (method, allowed, allowed)


async def test_a_failure_of_the_server_tells_nothing_of_its_inside(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    async def fail(*_: Any) -> Any:
        raise RuntimeError("secret: /root/record.sqlite3")

    app = create_app(tmp_path, None)
    async with AsyncTestClient(SeenFrom(app), base_url=THIS_MACHINE, raise_server_exceptions=False) as client:
        await pair_here(client)
        monkeypatch.setattr("server.store.change_log.page", fail)
        answer = await client.get("/api/changes?after=0")
        assert problem_of(answer, 500).code == "internal"
        assert b"secret" not in answer.content and b"Traceback" not in answer.content
        assert "secret" in caplog.text  # the server's own log says why
        monkeypatch.undo()
        assert (await client.get("/api/changes?after=0")).status_code == 200


async def test_a_full_disk_is_told_and_nothing_is_half_stored(tmp_path: Path) -> None:
    app = create_app(tmp_path, None)
    async with AsyncTestClient(SeenFrom(app), base_url=THIS_MACHINE, raise_server_exceptions=False) as client:
        await pair_here(client)
        database = client_database(app)

        async def make_room(connection: Written, pages: Sequence[int]) -> Sequence[int]:
            [(there,)] = await connection.execute_fetchall("PRAGMA page_count")
            await connection.execute_fetchall(f"PRAGMA max_page_count = {there + pages[0]}")
            return pages

        await database.together(make_room, [2], 1)
        content = batch(*(change(n, added(reading(f"r-{n}", note="x" * 1500))) for n in range(1, 60)))
        problem = problem_of(await client.post("/api/changes", content=content, headers=JSON), 507)
        assert problem.code == "disk_full" and "stays on the phone" in problem.message
        assert "free some" in problem.example
        assert (await client.get("/api/changes?after=0")).json()["changes"] == []
        await database.together(make_room, [1_000_000], 1)
        answer = await client.post("/api/changes", content=content, headers=JSON)
        assert {one["result"] for one in answer.json()["answers"]} == {"stored"}


def client_database(app: Any) -> Database:
    """The record behind an application."""
    return app.inner.state.database


async def test_half_a_character_keeps_only_its_own_change_out(client: Client) -> None:
    """What a browser writes for an emoji cut in two."""
    notes = ["", "\ud83d", ""]
    changes = [change(n, added(reading(f"r-{n}", note=note))) for n, note in enumerate(notes, 1)]
    content = json.dumps({"changes": changes}).encode()
    assert b"\\ud83d" in content
    answers = (await client.post("/api/changes", content=content, headers=JSON)).json()["answers"]
    assert [one["result"] for one in answers] == ["stored", "refused", "stored"]
    assert answers[1]["id"] == "phone-a-2" and answers[1]["problem"]["code"] == "not_json"


async def test_a_client_that_leaves_in_the_middle_harms_nobody(tmp_path: Path) -> None:
    content = batch(*(change(n, added(reading(f"r-{n}"))) for n in range(1, 300)))
    async with in_this_loop(tmp_path) as client:
        pushing = asyncio.create_task(client.post("/api/changes", content=content, headers=JSON))
        for _ in range(60):
            await asyncio.sleep(0)
        pushing.cancel()
        with pytest.raises(asyncio.CancelledError):
            await pushing
        assert (await client.get("/api/changes?after=0")).json()["changes"] == []
        await still_up(client)


async def test_a_record_that_cannot_be_opened_stops_the_start(tmp_path: Path) -> None:
    (tmp_path / "record.sqlite3").write_bytes(b"no record " * 1000)
    with pytest.raises(BaseException) as caught:  # the client wraps it in its own group
        async with AsyncTestClient(create_app(tmp_path, None), base_url=THIS_MACHINE):
            pass
    assert "restore a copy" in repr(caught.value) + repr(getattr(caught.value, "exceptions", ""))
    (tmp_path / "record.sqlite3").unlink()
    await (await Database.open(tmp_path)).close()
