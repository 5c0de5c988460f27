"""The application that the benchmark `sync` lays the server beside: `python -m tests.load._bare_shop PORT SHEET DB`.

The same framework, the same answers, the same rows on the same disk, and nothing else: no guard, no token, no merge,
no check of what a record says, no look whether a change is there already. The sheet lies in memory. What is sent is
decoded by msgspec in one go (the framework's own way, through plain values, takes longer) and written by a thread with
sqlite3 in one transaction, so that a request beside it waits for no disk.
"""

import asyncio
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import msgspec
import uvicorn
from litestar import Litestar, Request, get, post
from msgspec import Raw, Struct

from server.engine.door import form_opinion
from shared_models.opinion import Opinion
from shared_models.sheet import BenchSheet
from tests.load._straight import ChangeRow, FactRow, empty_record, write_readings


class SentChange(Struct):
    """A change whose body goes into the log as it came."""

    id: str
    device: str
    device_seq: int
    hlc: str
    actor: str
    body: Raw


class Sent(Struct):
    """A batch."""

    changes: list[SentChange]


class Named(Struct):
    """What a fact's row needs of a record."""

    id: str


class AddedBody(Struct):
    """What a fact's row needs of a body."""

    record: Raw


class Answer(Struct):
    """What became of a change."""

    id: str
    result: str
    seq: int


class Answers(Struct):
    """Of a batch, in its order."""

    answers: list[Answer]


def rows_of(one: SentChange) -> tuple[ChangeRow, FactRow]:
    """What of a change is written."""
    body = bytes(one.body)
    record = bytes(msgspec.json.decode(body, type=AddedBody).record)
    return (
        (one.id, one.device, one.device_seq, one.hlc, one.actor, body),
        (msgspec.json.decode(record, type=Named).id, record.decode(), f"{one.hlc} {one.device} {one.id}"),
    )


def application(sheet: BenchSheet, path: Path) -> Litestar:
    """Its routes; the rows go into a new file at `path`."""
    connection, thread, last = empty_record(path), ThreadPoolExecutor(1), 0

    @get("/sheet")
    async def give_sheet() -> BenchSheet:
        return sheet

    @get("/opinion")
    async def give_opinion() -> Opinion:
        return await asyncio.to_thread(form_opinion, sheet)

    @post("/changes", status_code=200)
    async def take_changes(request: Request) -> Answers:
        nonlocal last
        sent = msgspec.json.decode(await request.body(), type=Sent).changes
        seq, last = last, last + len(sent)
        rows = [rows_of(one) for one in sent]
        await asyncio.get_running_loop().run_in_executor(thread, write_readings, connection, rows, seq)
        return Answers([Answer(one.id, "stored", seq + n) for n, one in enumerate(sent, 1)])

    async def close() -> None:
        connection.close()

    return Litestar([give_sheet, give_opinion, take_changes], openapi_config=None, on_shutdown=[close])


if __name__ == "__main__":
    port, sheet_path, record_path = sys.argv[1:]
    sheet = msgspec.json.decode(Path(sheet_path).read_bytes(), type=BenchSheet)
    uvicorn.run(application(sheet, Path(record_path)), port=int(port), log_level="error")
