"""The bare application that `python3 tests load sync` lays the server beside does the work it is compared for."""

import asyncio
import json
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import msgspec
from litestar.testing import AsyncTestClient

from server.store.database import FILE_NAME
from server.sync.accept import Vocabulary
from server.sync.exchange import open_batch, take_batch
from shared_models.sheet import BenchSheet
from tests.load._bare_shop import application
from tests.load._phones import BATCH, Bodies
from tests.sync.rig import open_record

SHEET = Path(__file__).resolve().parents[2] / "demo" / "sheets" / "t10_all_healthy_half_read.json"


def rows_in(path: Path) -> list[list[tuple[Any, ...]]]:
    """All of the log and of the facts."""
    with closing(sqlite3.connect(path)) as connection:
        return [connection.execute(f"SELECT * FROM {table} ORDER BY seq").fetchall() for table in ("change", "fact")]


async def test_the_bare_application_writes_the_same_rows_and_answers_each_change(tmp_path: Path) -> None:
    body, path = Bodies().next(), tmp_path / "bare.sqlite3"
    sheet = msgspec.json.decode(await asyncio.to_thread(SHEET.read_bytes), type=BenchSheet)
    async with AsyncTestClient(application(sheet, path)) as bare, open_record(tmp_path) as database:
        answer = await bare.post("/changes", content=body)
        ours = await take_batch(database, open_batch(body), Vocabulary())
        given = await bare.get("/sheet")
    assert answer.json()["answers"] == json.loads(msgspec.json.encode(ours))["answers"]
    assert len(ours.answers) == BATCH
    assert rows_in(path) == rows_in(tmp_path / FILE_NAME)
    assert msgspec.json.decode(given.content, type=BenchSheet) == sheet
