"""Batches of several phones share one transaction where they meet; what that must not change."""

import asyncio
import functools
import sqlite3
import threading
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import aiosqlite
import pytest
from msgspec import Raw

from server.store.at_once import WritingThread, Written
from server.store.change_log import append_if_new
from server.store.database import FILE_NAME, Database
from server.sync import exchange
from server.sync.accept import Accepted
from shared_models.change import Change, ChangeAnswer
from shared_models.reading import Reading
from tests.sync.making import added, change, fields_set, reading, removed
from tests.sync.rig import open_record, push, whole_state


def batch(phone: str, count: int = 30) -> list[dict]:
    """A phone's batch; its last change is one that is refused."""
    made = [change(n, added(reading(f"{phone}-{n}")), phone) for n in range(1, count)]
    return [*made, change(count, {"what": "added", "kind": "reading", "record": {}, "v": 1}, phone)]


async def test_each_phone_gets_the_answers_of_its_own_batch_and_the_record_is_as_if_they_had_come_in_turn(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    batches = [batch(f"phone-{n}", 5 + n) for n in range(12)]
    batches += [batches[3], [change(99, removed("phone-4-1"), "phone-4")]]
    began = count_transactions(monkeypatch)
    async with open_record(tmp_path / "met") as met, open_record(tmp_path / "in-turn") as in_turn:
        began.clear()
        answers = await asyncio.gather(*(push(met, sent) for sent in batches))
        assert len(began) < len(batches) / 2, "they did not meet"
        epoch = await met.epoch()
        for sent, answer in zip(batches[:12], answers, strict=False):
            assert [one.id for one in answer.answers] == [one["id"] for one in sent]
            assert [one.result for one in answer.answers] == ["stored"] * (len(sent) - 1) + ["refused"]
            assert answer.epoch == epoch
        assert {one.result for one in answers[12].answers} == {"had", "refused"}
        seqs = [one.seq for answer in answers[:12] for one in answer.answers if one.seq is not None]
        assert sorted(seqs) == sorted(set(seqs)), "no two have one number"
        for sent in batches:
            await push(in_turn, sent)
        assert await whole_state(met) == await whole_state(in_turn)


async def test_what_fails_for_one_is_nobody_elses_failure(tmp_path: Path) -> None:
    async def write(connection: Written, items: Sequence[str]) -> Sequence[str]:
        for item in items:
            await connection.execute("INSERT INTO removed VALUES ('x', ?, '', '', 1)", (item,))
            if item == "bad":
                raise ValueError("this one cannot be written")
        return [f"{item} is in" for item in items]

    async with open_record(tmp_path) as database:
        await push(database, [change(1, added(reading()))])
        told = await asyncio.gather(
            *(database.together(write, [name], 100) for name in ("a", "b", "bad", "c")), return_exceptions=True
        )
        assert [told[0], told[1], told[3]] == [["a is in"], ["b is in"], ["c is in"]]
        assert isinstance(told[2], ValueError)
        assert await removed_in(database) == ["a", "b", "c"]


async def test_who_gives_up_waiting_takes_nobody_along(tmp_path: Path) -> None:
    held, let_go = threading.Event(), threading.Event()

    async def write(connection: Written, items: Sequence[str]) -> Sequence[str]:
        for item in items:
            await connection.execute("INSERT INTO removed VALUES ('x', ?, '', '', 1)", (item,))
        held.set()
        assert let_go.wait(10)
        return items

    async with open_record(tmp_path) as database:
        await push(database, [change(1, added(reading()))])
        first = asyncio.create_task(database.together(write, ["being written"], 100))
        assert await asyncio.to_thread(held.wait, 10)
        later = [asyncio.create_task(database.together(write, [name], 100)) for name in ("gives up", "stays")]
        await asyncio.sleep(0)
        later[0].cancel()
        first.cancel()
        let_go.set()
        assert await later[1] == ["stays"]
        assert all(isinstance(one, asyncio.CancelledError) for one in await asyncio.gather(
            first, later[0], return_exceptions=True))
        assert await removed_in(database) == ["stays"]
        await push(database, [change(2, added(reading("after")))])


async def test_what_waits_is_written_before_the_record_is_closed(tmp_path: Path) -> None:
    held, let_go = threading.Event(), threading.Event()

    async def write(connection: Written, items: Sequence[str]) -> Sequence[str]:
        held.set()
        assert let_go.wait(10)
        for item in items:
            await connection.execute("INSERT INTO removed VALUES ('x', ?, '', '', 1)", (item,))
        return items

    database = await Database.open(tmp_path)
    await push(database, [change(1, added(reading()))])
    bringing = [asyncio.create_task(database.together(write, ["a"], 100))]
    assert await asyncio.to_thread(held.wait, 10)
    bringing += [asyncio.create_task(database.together(write, [name], 100)) for name in ("b", "c")]
    closing = asyncio.create_task(database.close())
    for _ in range(20):
        await asyncio.sleep(0)
    await asyncio.to_thread(time.sleep, 0)  # whatever the closing gave to a thread has begun
    let_go.set()
    assert await asyncio.gather(*bringing) == [["a"], ["b"], ["c"]]
    await closing
    async with open_record(tmp_path) as opened:
        assert await removed_in(opened) == ["a", "b", "c"]


async def test_nobody_else_asks_to_write_while_a_batch_is_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """SQLite would have them wait too, on a thread, and give up after some seconds."""
    order: list[str] = []
    execute = aiosqlite.Connection.execute

    def noted(self: aiosqlite.Connection, sql: str, *given: Any) -> Any:
        order.append(sql)
        return execute(self, sql, *given)

    held, let_go = threading.Event(), threading.Event()

    async def write(_: Written, items: Sequence[str]) -> Sequence[str]:
        held.set()
        assert let_go.wait(10)
        order.append("batch")
        return items

    async with open_record(tmp_path) as database:
        batch_in_hand = asyncio.create_task(database.together(write, ["x"], 100))
        assert await asyncio.to_thread(held.wait, 10)

        async def else_write() -> None:
            async with database.writing():
                pass

        monkeypatch.setattr(aiosqlite.Connection, "execute", noted)
        other = asyncio.create_task(else_write())
        batch_in_hand.cancel()  # who brought it goes away, the thread does not
        for _ in range(20):
            await asyncio.sleep(0)
        let_go.set()
        await other
    assert order == ["batch", "BEGIN IMMEDIATE"]


async def test_a_batch_of_which_some_is_there_is_answered_one_by_one_and_numbers_have_no_gap(tmp_path: Path) -> None:
    sent = [change(n, added(reading(f"r-{n}"))) for n in range(1, 9)]
    async with open_record(tmp_path) as database:
        await push(database, sent[2:4])
        other = change(9, added(reading("r-9")), device_seq=3)  # a place that is taken
        answer = await push(database, [*sent, sent[0], other])
        assert [one.result for one in answer.answers] == [
            "stored", "stored", "had", "had", "stored", "stored", "stored", "stored", "had", "refused"]
        seqs = sorted({one.seq for one in answer.answers if one.seq is not None})
        assert seqs == list(range(1, 9))
        assert len((await whole_state(database))["facts"]) == 8


async def test_no_transaction_holds_more_than_what_is_allowed(tmp_path: Path) -> None:
    sizes = []

    async def write(_: Written, items: Sequence[int]) -> Sequence[int]:
        sizes.append(len(items))
        return items

    async with open_record(tmp_path) as database:
        told = await asyncio.gather(*(database.together(write, range(n, n + 4), 10) for n in range(9)))
    assert [list(one) for one in told] == [[n, n + 1, n + 2, n + 3] for n in range(9)]
    assert sum(sizes) == 36 and max(sizes) <= 10


async def test_a_long_batch_is_few_statements_for_the_thread_that_writes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Between two steps that thread needs the interpreter, which the loop keeps while it reads what others send."""
    steps: list[str] = []
    execute = sqlite3.Connection.execute

    class Counted(sqlite3.Connection):
        def execute(self, sql: str, *given: Any) -> sqlite3.Cursor:
            steps.append(sql[:40])
            return execute(self, sql, *given)

    monkeypatch.setattr(sqlite3, "connect", functools.partial(sqlite3.connect, factory=Counted))
    async with open_record(tmp_path) as database:
        steps.clear()
        sent = [change(n, added(reading(f"r-{n}", note=f"line {n}"))) for n in range(1, 400)]
        answer = await push(database, sent)
        async with database.reading() as connection:
            rows = list(await connection.execute_fetchall("SELECT id, seq FROM fact ORDER BY seq"))
    assert [tuple(row) for row in rows] == [(f"r-{one.seq}", one.seq) for one in answer.answers]
    assert len(rows) == 399
    assert 4 < len(steps) < 40, steps
    assert not [step for step in steps if step.startswith("SELECT seq, id")], "what is new as a rule is looked up"


async def test_what_one_phone_sent_is_written_while_what_others_sent_is_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    read: list[int] = []
    read_when_handed_on: list[int] = []
    accept, together = exchange.accept_change, Database.together

    def counted(*given: Any) -> Any:
        read.append(1)
        return accept(*given)

    async def watched(*given: Any) -> Any:
        read_when_handed_on.append(len(read))
        return await together(*given)

    monkeypatch.setattr(exchange, "accept_change", counted)
    monkeypatch.setattr(Database, "together", watched)
    async with open_record(tmp_path) as database:
        await asyncio.gather(*(push(database, batch(f"phone-{n}", 100)) for n in range(10)))
    assert read_when_handed_on == [100 * n for n in range(1, 11)]


def test_what_phones_send_is_nothing_that_python_looks_for_circles_in() -> None:
    for model in (Change, ChangeAnswer, Reading):
        assert not model.__struct_config__.gc
    assert not Accepted.__struct_config__.gc


async def test_of_two_values_for_one_field_in_one_batch_the_later_stays_in_either_order(tmp_path: Path) -> None:
    for order in (1, -1):
        async with open_record(tmp_path / f"{order}") as database:
            sent = [change(n, fields_set({"title": f"title {n}"})) for n in range(1, 300)]
            await push(database, sent[::order])
            assert (await whole_state(database))["fields"] == {"job/job-1": {"title": "title 299"}}


def count_transactions(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Grows by one with each writing transaction that begins."""
    began: list[str] = []
    transaction = WritingThread._in_one_transaction

    def counted(self: WritingThread, work: Any) -> object:
        began.append("one more")
        return transaction(self, work)

    monkeypatch.setattr(WritingThread, "_in_one_transaction", counted)
    return began


async def removed_in(database: Database) -> list[str]:
    """What stands in the record as taken back."""
    async with database.reading() as connection:
        rows: Sequence[sqlite3.Row] = list(await connection.execute_fetchall("SELECT id FROM removed ORDER BY id"))
    return [row[0] for row in rows]


async def test_a_disk_that_fills_in_the_middle_of_a_batch_is_told_as_what_it_is_and_nothing_is_written(
    tmp_path: Path,
) -> None:
    async with open_record(tmp_path):
        pass
    connection = sqlite3.connect(tmp_path / FILE_NAME, isolation_level=None, check_same_thread=False)
    connection.execute("PRAGMA max_page_count = 1")  # SQLite keeps what is there, and takes no page more
    thread = WritingThread(connection)
    # of one row, for which SQLite ends the whole transaction itself
    batch = [(1, Change(id="c1", device="phone", device_seq=1, hlc="1", actor="", body=Raw(b"0" * 1_000_000)), 1, True)]
    with pytest.raises(sqlite3.OperationalError, match="full"):
        await thread.write(lambda written: append_if_new(written, batch))
    assert connection.execute("SELECT count(*) FROM change").fetchone() == (0,)
    await thread.close()
