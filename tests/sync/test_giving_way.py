"""A batch that is being read lets those go first who ask the record something, and is read all the same."""

import asyncio
import sqlite3
import threading
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import pytest

from server.access.pairing import Desk
from server.store import change_log, giving_way
from server.store.at_once import Asked, ReadingThreads
from server.store.database import Database
from server.sync import exchange
from server.sync.exchange import READ_AT_ONCE
from tests.sync.making import added, change, reading
from tests.sync.rig import open_record, push

CHANGES = 6 * READ_AT_ONCE


@asynccontextmanager
async def somebody_asks(database: Database) -> AsyncIterator[None]:
    """For as long as this lasts a question is on its thread."""
    begun, over = threading.Event(), threading.Event()

    async def count(asked: Asked) -> int:
        begun.set()
        assert over.wait(30)
        return await change_log.count(asked)

    asking = asyncio.create_task(database.read_at_once(count))
    try:
        assert await asyncio.to_thread(begun.wait, 30)
        yield
    finally:
        over.set()
        await asking


def counted_reads(monkeypatch: pytest.MonkeyPatch) -> list[None]:
    """One more for each change that is read."""
    read: list[None] = []
    real = exchange.accept_change

    def counting(*given: Any) -> Any:
        read.append(None)
        return real(*given)

    monkeypatch.setattr(exchange, "accept_change", counting)
    return read


def batch() -> list[dict[str, Any]]:
    """Of several portions."""
    return [change(n, added(reading(f"r-{n}"))) for n in range(1, CHANGES + 1)]


async def test_a_batch_waits_between_its_portions_for_who_asks(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(giving_way, "LONGEST_S", 60)
    read = counted_reads(monkeypatch)
    async with open_record(tmp_path) as database:
        async with somebody_asks(database):
            pushing = asyncio.create_task(push(database, batch()))
            for _ in range(100):  # far more turns than the batch has portions
                await asyncio.sleep(0)
            assert len(read) == READ_AT_ONCE
        assert {answer.result for answer in (await pushing).answers} == {"stored"}
        assert len(read) == CHANGES


async def test_whatever_is_asked_a_batch_comes_on(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(giving_way, "LONGEST_S", 0.001)
    async with open_record(tmp_path) as database, somebody_asks(database):
        answers = (await push(database, batch())).answers
        assert {answer.result for answer in answers} == {"stored"}


async def test_whose_token_it_is_is_looked_up_without_a_thread_unless_the_record_is_locked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    went: list[None] = []
    real = ReadingThreads.read

    async def counted(self: ReadingThreads, work: Any) -> Any:
        went.append(None)
        return await real(self, work)

    class Locked:
        """A connection that would have to wait."""

        def execute(self, _sql: str) -> None:
            raise sqlite3.OperationalError("database is locked")

        def close(self) -> None:
            """Nothing is open."""

    monkeypatch.setattr(ReadingThreads, "read", counted)
    async with open_record(tmp_path) as database:
        desk = Desk(pairs_itself=True)
        desk.open(database)
        paired = await desk.pair_here()
        assert await desk.phone_with(paired.token, "127.0.0.1") == paired.phone
        assert went == []
        await desk.revoke(paired.phone.id)
        with pytest.raises(Exception, match="taken this phone out"):
            await desk.phone_with(paired.token, "127.0.0.1")  # what was written is seen at once
        again = await desk.pair_here()
        monkeypatch.setattr(ReadingThreads, "_connection_here", lambda _: Locked())
        assert await desk.phone_with(again.token, "127.0.0.1") == again.phone
        assert went == [None]
