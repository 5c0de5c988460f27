"""Work that asks the record many things in one go, on a thread: what it sees, and that it holds nobody up."""

import asyncio
import json
import sqlite3
import threading
from pathlib import Path
from typing import Any

import aiosqlite
import pytest

from demo.fill import fill
from server.access.pairing import Desk
from server.store import change_log, record
from server.store.at_once import Asked
from server.store.sheet import SHEET_FACTS, gather_sheet
from server.sync.exchange import hand_out
from tests.sync.making import added, change, fields_set, reading, removed
from tests.sync.rig import open_record, push

JOB = "t10-cold"


async def test_it_sees_one_moment_whatever_is_written_meanwhile(tmp_path: Path) -> None:
    begun, written = threading.Event(), threading.Event()

    async def count_twice(asked: Asked) -> tuple[int, int]:
        first = await change_log.count(asked)
        begun.set()
        assert written.wait(10)
        return first, await change_log.count(asked)

    async with open_record(tmp_path) as database:
        await push(database, [change(1, added(reading("r-1")))])
        counting = asyncio.create_task(database.read_at_once(count_twice))
        assert await asyncio.to_thread(begun.wait, 10)
        await push(database, [change(2, added(reading("r-2")))])
        written.set()
        assert await counting == (1, 1)
        assert await database.read_at_once(change_log.count) == 2


async def test_it_cannot_write_and_cannot_wait_and_neither_spoils_the_next(tmp_path: Path) -> None:
    async def write(asked: Asked) -> None:
        await asked.execute_fetchall("DELETE FROM change")

    async def wait(_: Asked) -> None:
        await asyncio.sleep(0)

    async with open_record(tmp_path) as database:
        await push(database, [change(1, added(reading()))])
        for _ in range(4):  # on each of the threads
            with pytest.raises(sqlite3.OperationalError, match="readonly"):
                await database.read_at_once(write)
            with pytest.raises(RuntimeError, match="waited"):
                await database.read_at_once(wait)
        assert await database.read_at_once(change_log.count) == 1
        await database.close()
        await database.close()


async def test_a_sheet_a_token_and_a_pull_are_asked_for_in_one_go_each(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    await asyncio.to_thread(fill, tmp_path)
    async with open_record(tmp_path) as database:
        desk = Desk(pairs_itself=True)
        desk.open(database)
        token = (await desk.pair_here()).token
        went: list[str] = []
        execute = aiosqlite.Connection._execute

        def counted(self: aiosqlite.Connection, *given: Any) -> Any:
            went.append(str(given))
            return execute(self, *given)

        monkeypatch.setattr(aiosqlite.Connection, "_execute", counted)
        await desk.phone_with(token, "127.0.0.1")
        sheet = await database.read_at_once(
            lambda asked: gather_sheet(asked, JOB, asked_at_ms=0, mode="guided", stage="before_repair"))
        assert sheet.known_good_readings and sheet.readings
        assert (await hand_out(database, 0, 100)).more
        assert went == []


async def test_facts_in_one_text_are_the_same_facts_and_the_same_are_taken_back(tmp_path: Path) -> None:
    made = [change(n, added(reading(f"r-{n * 7 % 50}", f"job-{n % 3}"))) for n in range(1, 40)]
    jobs = ["job-0", "job-1", "job-2", "none"]
    async with open_record(tmp_path) as database:
        await push(database, [*made, *(change(100 + n, removed(f"r-{n}")) for n in range(0, 40, 3))])
        rows = await database.read_at_once(lambda asked: record.facts_together(asked, SHEET_FACTS, jobs))
        async with database.reading() as connection:
            single = await record.facts_of_owners(connection, SHEET_FACTS, jobs)
    for place, facts in single.items():
        records, removed_ids = rows.get(place, ("[]", []))
        assert records == f"[{','.join(text for _, text, _ in facts)}]"
        assert sorted(removed_ids) == [found for found, _, is_removed in facts if is_removed]
    assert sum(len(gone) for _, gone in rows.values()) > 5


async def test_entities_in_one_text_are_the_same_entities(tmp_path: Path) -> None:
    await asyncio.to_thread(fill, tmp_path)
    awkward = {"title": 'two "words", a {brace} and a\nline', "note": "Ω ✓"}
    kinds = ("job", "meter", "reference_board", "shop")
    async with open_record(tmp_path) as database:
        await push(database, [
            change(1, fields_set(awkward, "job-1"), "phone-t"), change(2, fields_set(awkward, "job-2"), "phone-t"),
            change(3, removed("job-2", "job"), "phone-t"), change(4, removed("shop", "shop"), "phone-t"),
        ])
        together = await database.read_at_once(lambda asked: record.entities_together(asked, *kinds))
        async with database.reading() as connection:
            single = await record.visible_fields(connection)
    assert sorted(together) == ["job", "meter", "reference_board"]
    for kind, text in together.items():
        assert json.loads(text) == {
            key.split("/")[1]: {name: json.loads(value) for name, value in fields.items()}
            for key, fields in single.items() if key.startswith(f"{kind}/")
        }
    assert json.loads(together["job"])["job-1"] == awkward
