"""Board files by the routes: sent, read with progress, traced; what is no board is told and the server stays up."""

import asyncio
import time
import tracemalloc
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

import msgspec
import pytest
from litestar.testing import AsyncTestClient

from server.boards.board_file import LARGEST_BYTES
from server.boards.desk import KEPT
from server.boards.door import OpenBoard
from shared_models.board_file import BoardReading, TracedSocket
from tests.api.conftest import in_this_loop
from tests.support.invented_board import ipc356, kicad, pin_list

Client = AsyncTestClient[Any]


async def read_out(client: Any, file_id: str) -> BoardReading:
    """Asks until the reading has come to an end."""
    until = time.monotonic() + 30
    while time.monotonic() < until:
        answer = await client.get(f"/api/board-files/{file_id}")
        reading = msgspec.json.decode(answer.content, type=BoardReading)
        if reading.state != "reading":
            return reading
        await asyncio.sleep(0.02)
    raise AssertionError("the file was not read within 30 s")


async def test_a_file_is_read_its_sockets_listed_and_one_traced(tmp_path: Path) -> None:
    raw = kicad().encode()
    async with in_this_loop(tmp_path / "data") as client:
        sent = await client.post("/api/board-files", content=raw)
        assert sent.status_code == 202 and sent.json()["of_bytes"] == len(raw)
        reading = await read_out(client, sent.json()["id"])
        assert (reading.state, reading.read_bytes) == ("read", len(raw))
        assert reading.board == OpenBoard.of(raw).summary()
        answer = await client.get(f"/api/board-files/{reading.id}/socket", params={"ref": "J1"})
        assert msgspec.json.decode(answer.content, type=TracedSocket) == OpenBoard.of(raw).traced("J1")
        assert [path.name for path in (tmp_path / "data").rglob("*") if "board" in path.name] == []


async def test_the_same_file_again_is_not_read_again_and_old_ones_are_put_away(tmp_path: Path) -> None:
    async with in_this_loop(tmp_path / "data") as client:
        first = (await client.post("/api/board-files", content=kicad().encode())).json()["id"]
        await read_out(client, first)
        again = (await client.post("/api/board-files", content=kicad().encode())).json()
        assert (again["id"], again["state"]) == (first, "read")
        for version in range(KEPT):
            await client.post("/api/board-files", content=kicad(20211014 + version).encode())
        gone = await client.get(f"/api/board-files/{first}")
        assert (gone.status_code, gone.json()["problem"]["code"]) == (404, "no_such_board_file")


async def test_a_pin_list_is_read_by_its_columns(tmp_path: Path) -> None:
    async with in_this_loop(tmp_path / "data") as client:
        sent = await client.post("/api/board-files", content=pin_list(), params={"columns": "ref=Part,pin=Pin,net=Net"})
        reading = await read_out(client, sent.json()["id"])
        assert reading.board is not None and reading.board.format == "pin list"
        wrong = await client.post("/api/board-files", content=pin_list(), params={"columns": "pin=1"})
        assert (wrong.status_code, wrong.json()["problem"]["code"]) == (422, "columns_unsaid")


@pytest.mark.parametrize(("raw", "code"), [
    (kicad().encode()[:-40], "file_ends_early"), (kicad().encode() + b")", "bracket_too_many"),
    (ipc356(units="CUST 2").encode(), "units_unclear"), (b"<a>" * 300, "too_deep"),
])
async def test_a_broken_board_is_told_and_the_server_stays_up(tmp_path: Path, raw: bytes, code: str) -> None:
    async with in_this_loop(tmp_path / "data") as client:
        sent = await client.post("/api/board-files", content=raw)
        reading = await read_out(client, sent.json()["id"])
        assert reading.state == "refused" and reading.board is None and reading.problem is not None
        assert reading.problem.code == code and reading.problem.where and reading.problem.example
        traced = await client.get(f"/api/board-files/{reading.id}/socket", params={"ref": "J1"})
        assert (traced.status_code, traced.json()["problem"]["code"]) == (422, code)
        assert (await client.get("/api/health")).json()["ok"] is True


@pytest.mark.parametrize(("raw", "status", "code"), [
    (b"", 422, "not_a_board_file"), (b"\x89PNG\r\n", 422, "not_a_board_file"), (b"PK\x03\x04", 422, "not_a_board_file"),
    (b"(" * 65_000_000, 413, "too_large"),
])
async def test_what_is_no_board_file_is_refused_before_it_is_read(client: Client, raw: bytes, status: int,
        code: str) -> None:
    answer = await client.post("/api/board-files", content=raw)
    assert (answer.status_code, answer.json()["problem"]["code"]) == (status, code)
    assert (await client.get("/api/health")).json()["ok"] is True


@pytest.mark.parametrize(("headers", "most_mb"), [
    ({"content-length": "500000000"}, 0), ({}, LARGEST_BYTES // 1_000_000 + 1),
])
async def test_a_file_of_500_mb_is_refused_in_words_without_waiting_for_its_end(
    tmp_path: Path, headers: dict[str, str], most_mb: int
) -> None:
    taken_mb = 0

    async def file() -> AsyncIterator[bytes]:
        nonlocal taken_mb
        for _ in range(500):
            taken_mb += 1
            yield b"(" * 1_000_000

    async with in_this_loop(tmp_path / "data") as client:
        tracemalloc.start()
        answer = await client.post("/api/board-files", content=file(), headers=headers)
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        problem = answer.json()["problem"]
        assert (answer.status_code, problem["code"]) == (413, "too_large") and "64000000" in problem["expected"]
        assert taken_mb <= most_mb and peak < 3 * LARGEST_BYTES
        assert (await client.get("/api/health")).json()["ok"] is True


async def test_a_socket_that_is_not_there_and_one_that_is_not_named_are_told(tmp_path: Path) -> None:
    async with in_this_loop(tmp_path / "data") as client:
        reading = await read_out(client, (await client.post("/api/board-files", content=kicad().encode())).json()["id"])
        wrong = await client.get(f"/api/board-files/{reading.id}/socket", params={"ref": "J99"})
        assert (wrong.status_code, wrong.json()["problem"]["code"]) == (404, "no_such_socket")
        unnamed = await client.get(f"/api/board-files/{reading.id}/socket")
        assert (unnamed.status_code, unnamed.json()["problem"]["where"]) == (400, "query.ref")
