"""What the record's file is promised: one writer, readers that cannot write, steps, no half things."""

import asyncio
import json
import sqlite3
from pathlib import Path

import pytest

from server.store.database import FILE_NAME, LOG_BYTES, Database, RecordDamaged
from server.store.migrations import STEPS_DIR, RecordFromNewerServer, RecordUnusable, read_steps, statements
from server.sync.accept import Vocabulary
from server.sync.catch_up import apply_waiting
from server.sync.exchange import hand_out
from tests.sync.making import added, change, fields_set, reading
from tests.sync.rig import open_record, push, whole_state

FIRST_STEP = next(STEPS_DIR.glob("001_*.sql"))


async def test_a_write_that_fails_in_the_middle_leaves_nothing_behind(tmp_path: Path) -> None:
    async with open_record(tmp_path) as database:
        before = await whole_state(database)
        with pytest.raises(RuntimeError, match="power"):
            async with database.writing() as connection:
                await connection.execute(
                    "INSERT INTO change (id, device, device_seq, hlc, actor, v, body) VALUES ('c','d',1,'h','',1,x'')"
                )
                raise RuntimeError("power")
        assert await whole_state(database) == before
        assert (await push(database, [change(1, added(reading()))])).answers[0].seq == 1


async def test_a_push_given_up_at_any_moment_is_stored_whole_or_not_at_all_and_the_writer_free(tmp_path: Path) -> None:
    """That one given up before its commit leaves nothing is in test_batches_together."""
    for ticks in range(0, 60, 3):
        changes = [change(n, fields_set({"title": str(n)}), f"phone-{ticks}") for n in range(1, 200)]
        async with open_record(tmp_path / f"{ticks}") as database:
            pushing = asyncio.create_task(push(database, changes))
            for _ in range(ticks):
                await asyncio.sleep(0)
            pushing.cancel()
            with pytest.raises(asyncio.CancelledError):
                await pushing
            told = (await push(database, changes)).answers
            assert {one.result for one in told} in ({"stored"}, {"had"})
            assert [one.seq for one in told] == list(range(1, 200))
            assert len((await hand_out(database, 0, 500)).changes) == 199


async def test_writes_wait_for_one_another(tmp_path: Path) -> None:
    inside = most = 0
    async with open_record(tmp_path) as database:
        async def write() -> None:
            nonlocal inside, most
            async with database.writing():
                inside += 1
                most = max(most, inside)
                await asyncio.sleep(0)
                inside -= 1

        await asyncio.gather(*(write() for _ in range(20)))
    assert most == 1


async def test_readers_cannot_write_and_see_one_moment(tmp_path: Path) -> None:
    async with open_record(tmp_path) as database:
        async with database.reading() as connection:
            with pytest.raises(sqlite3.OperationalError, match="readonly"):
                await connection.execute("DELETE FROM change")
        async with database.reading() as connection:
            [(before,)] = await connection.execute_fetchall("SELECT count(*) FROM change")
            await push(database, [change(1, added(reading()))])
            [(after,)] = await connection.execute_fetchall("SELECT count(*) FROM change")
        assert (before, after) == (0, 0)
        assert len((await hand_out(database, 0, 9)).changes) == 1


async def test_more_readers_than_connections_wait_their_turn(tmp_path: Path) -> None:
    async with open_record(tmp_path) as database:
        await push(database, [change(1, added(reading()))])
        pages = await asyncio.gather(*(hand_out(database, 0, 9) for _ in range(40)))
        assert {len(page.changes) for page in pages} == {1}


async def test_closing_twice_is_no_error(tmp_path: Path) -> None:
    database = await Database.open(tmp_path)
    await database.close()
    await database.close()


async def test_every_row_points_at_a_change_of_the_log(tmp_path: Path) -> None:
    async with open_record(tmp_path) as database:
        with pytest.raises(sqlite3.IntegrityError, match="FOREIGN KEY"):
            async with database.writing() as connection:
                await connection.execute("INSERT INTO removed VALUES ('reading', 'r-1', '', 'stamp', 99)")


async def test_what_is_answered_is_on_the_disk(tmp_path: Path) -> None:
    """WAL, and every commit synced: what NORMAL would leave to the next checkpoint."""
    async with open_record(tmp_path) as database, database.writing() as connection:
        [(mode,)] = await connection.execute_fetchall("PRAGMA journal_mode")
        [(synchronous,)] = await connection.execute_fetchall("PRAGMA synchronous")
        [(keys,)] = await connection.execute_fetchall("PRAGMA foreign_keys")
        assert (mode, synchronous, keys) == ("wal", 2, 1)


async def test_the_log_that_a_large_batch_made_long_is_cut_again(tmp_path: Path) -> None:
    log = tmp_path / f"{FILE_NAME}-wal"
    async with open_record(tmp_path) as database:
        await push(database, [change(n, added(reading(f"r-{n}", note="x" * 1900))) for n in range(1, 2500)])
        assert log.stat().st_size > 2 * LOG_BYTES
        for n in (3000, 3001):  # the first goes on behind what is brought into the record then
            await push(database, [change(n, added(reading(f"r-{n}")))])
        assert log.stat().st_size <= LOG_BYTES


@pytest.mark.parametrize("spoil", ["no database at all", "a page overwritten"])
async def test_a_damaged_record_is_not_opened_and_not_touched(tmp_path: Path, spoil: str) -> None:
    async with open_record(tmp_path) as database:
        for n in range(1, 60):
            await push(database, [change(n, added(reading(f"r-{n}", note="x" * 500)))])
    path = tmp_path / FILE_NAME
    content = bytearray(path.read_bytes())
    if spoil == "no database at all":
        content[:] = b"this was a record once " * 400
    else:
        content[5 * 4096 : 6 * 4096] = b"\x55" * 4096
    path.write_bytes(content)
    with pytest.raises(RecordDamaged, match="restore a copy"):
        await Database.open(tmp_path)
    assert path.read_bytes() == content


async def test_a_record_of_the_first_step_with_changes_in_it_is_brought_up_to_date(tmp_path: Path) -> None:
    """A log from before there were tables for what it adds up to: nothing is lost, all is applied."""
    first = tmp_path / "steps"
    first.mkdir()
    (first / FIRST_STEP.name).write_text(FIRST_STEP.read_text(encoding="utf-8"), encoding="utf-8")
    bodies = [added(reading()), fields_set({"title": "T10"}), fields_set({"title": "T11"})]
    sent = [change(n, body) for n, body in enumerate(bodies, 1)]
    old = await Database.open(tmp_path, first)
    async with old.writing() as connection:
        for one in sent:
            await connection.execute(
                "INSERT INTO change (id, device, device_seq, hlc, actor, v, body)"
                " VALUES (?, ?, ?, ?, ?, 1, cast(? AS BLOB))",
                (one["id"], one["device"], one["device_seq"], one["hlc"], one["actor"], json.dumps(one["body"])),
            )
    epoch = await old.epoch()
    await old.close()

    async with open_record(tmp_path) as database:
        assert await database.epoch() == epoch
        assert await whole_state(database) == {
            "facts": {"reading/r-1": reading()}, "fields": {"job/job-1": {"title": "T11"}}, "removed": [], "newer": [],
        }
        assert {one.result for one in (await push(database, sent)).answers} == {"had"}


async def test_a_later_step_finds_the_data_of_the_earlier_ones(tmp_path: Path) -> None:
    async with open_record(tmp_path) as database:
        await push(database, [change(1, added(reading()))])
        before = await whole_state(database)
    steps = _with_a_later_step(tmp_path / "steps", "ALTER TABLE change ADD COLUMN seen INTEGER NOT NULL DEFAULT 7;")
    for _ in range(2):  # the second start runs no step again
        later = await Database.open(tmp_path, steps)
        async with later.reading() as connection:
            assert list(await connection.execute_fetchall("SELECT seq, seen FROM change")) == [(1, 7)]
        assert await whole_state(later) == before
        await later.close()


async def test_a_step_that_fails_leaves_the_record_as_it_was(tmp_path: Path) -> None:
    async with open_record(tmp_path) as database:
        await push(database, [change(1, added(reading()))])
        before = await whole_state(database)
    spoilt = "CREATE TABLE extra (a TEXT);\nDELETE FROM fact;\nDELETE FROM nowhere;"
    steps = _with_a_later_step(tmp_path / "steps", spoilt)
    with pytest.raises(sqlite3.OperationalError, match="nowhere"):
        await Database.open(tmp_path, steps)
    async with open_record(tmp_path) as database:
        assert await whole_state(database) == before
        async with database.reading() as connection:
            with pytest.raises(sqlite3.OperationalError, match="extra"):
                await connection.execute("SELECT * FROM extra")


async def test_a_record_of_a_newer_server_is_refused(tmp_path: Path) -> None:
    steps = _with_a_later_step(tmp_path / "steps", "CREATE TABLE extra (a TEXT);")
    await (await Database.open(tmp_path, steps)).close()
    with pytest.raises(RecordFromNewerServer, match=f"step {len(read_steps()) + 1}"):
        await Database.open(tmp_path)


async def test_several_servers_may_open_one_new_record_at_once(tmp_path: Path) -> None:
    for attempt in range(10):
        servers = await asyncio.gather(*(Database.open(tmp_path / str(attempt)) for _ in range(4)))
        assert len({await database.epoch() for database in servers}) == 1
        for database in servers:
            await apply_waiting(database, Vocabulary())
            await database.close()


async def test_a_folder_that_is_none_is_told_in_words(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(RecordUnusable, match="cannot be opened"):
        await Database.open(tmp_path / "file")
    (tmp_path / "data" / FILE_NAME).mkdir(parents=True)
    with pytest.raises(RecordUnusable, match="cannot be opened"):
        await Database.open(tmp_path / "data")


def test_steps_are_numbered_without_gap(tmp_path: Path) -> None:
    (tmp_path / "002_b.sql").write_text("", encoding="utf-8")
    with pytest.raises(ValueError, match="numbered"):
        read_steps(tmp_path)


def test_a_statement_without_its_semicolon_is_an_error() -> None:
    assert len(list(statements("-- one;\nCREATE TABLE a (b TEXT);\n\nSELECT\n2;\n-- end\n"))) == 2
    with pytest.raises(ValueError, match="semicolon"):
        list(statements("CREATE TABLE a (b TEXT);\nCREATE TABLE c (d TEXT)"))


def _with_a_later_step(folder: Path, sql: str) -> Path:
    folder.mkdir()
    for path in STEPS_DIR.glob("*.sql"):
        (folder / path.name).write_text(path.read_text(encoding="utf-8"), encoding="utf-8")
    (folder / f"{len(list(STEPS_DIR.glob('*.sql'))) + 1:03d}_later.sql").write_text(sql, encoding="utf-8")
    return folder
