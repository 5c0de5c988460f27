"""Connections to the record: one that writes, a few that only read.

Decides: one writer at a time (a lock, BEGIN IMMEDIATE), that a commit is on the disk before it is
answered, that readers cannot write and see one moment of the record, and that a damaged record is
not opened. Leaves the statements themselves to the modules beside it.
"""

import asyncio
import os
import shutil
import sqlite3
import time
import uuid
from collections.abc import AsyncIterator, Callable, Coroutine, Sequence
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any, TypeVar

import aiosqlite

from server.store import change_log
from server.store.at_once import Asked, ReadingThreads, WritingThread, Written
from server.store.giving_way import GivingWay
from server.store.line import Line
from server.store.migrations import STEPS_DIR, RecordUnusable, migrate, read_steps
from server.store.on_disk import make_private_folder, settle_file

T = TypeVar("T")
R = TypeVar("R")
FILE_NAME = "record.sqlite3"
READERS = 2
WAL_TRIES, WAL_PAUSE_S = 200, 0.05
LOG_BYTES = 4 * 1024 * 1024
"""How long the log beside the record stays: what SQLite brings into the record at a time (1000 pages of 4 KiB)."""
PRAGMAS = ("PRAGMA foreign_keys = ON", "PRAGMA busy_timeout = 10000")
WRITERS_PRAGMAS = (
    # FULL: in WAL mode NORMAL may lose the last commits with the power, and they were answered.
    "PRAGMA synchronous = FULL",
    # What is forgotten is overwritten, not only let go.
    "PRAGMA secure_delete = ON",
    # A log that one large batch made long is cut again with the next write, and takes no room for good.
    f"PRAGMA journal_size_limit = {LOG_BYTES}",
)
LEAST_ROOM_BYTES = 65_536
"""Less than what SQLite puts beside a record to open it (its -shm file has 32 KiB, its log at least a page)."""
PRIMARY_CODE = 0xFF
"""SQLite keeps the kind of an error in the low byte of its code."""


class RecordDamaged(RecordUnusable):
    """SQLite's own check found the record damaged; nothing was changed in it."""


def is_disk_full(error: sqlite3.Error) -> bool:
    """Whether it was for want of space that a statement could not be carried out; nothing of it is stored then."""
    return getattr(error, "sqlite_errorcode", 0) & PRIMARY_CODE == sqlite3.SQLITE_FULL


def why_not(error: Exception, path: Path) -> str:
    """Why a record could not be used, in words. Next to a full disk SQLite speaks of its files or of its log."""
    if _is_for_want_of_room(error, path):
        return "its disk is full. Nothing in it was changed: free some space, then try again"
    return str(error)


def _is_for_want_of_room(error: Exception, path: Path) -> bool:
    return (isinstance(error, sqlite3.Error) and is_disk_full(error)) or is_without_room(path.parent)


def is_without_room(folder: Path) -> bool:
    """Whether the disk that holds this folder has no room left for the smallest work."""
    try:
        return shutil.disk_usage(folder).free < LEAST_ROOM_BYTES
    except OSError:
        return False  # there is no such folder: that is another trouble


def clock_ms() -> int:
    """Milliseconds since 1970-01-01 UTC by this machine's clock."""
    return time.time_ns() // 1_000_000


class Database:
    """The open record. Made by `Database.open`, which also brings the tables up to date."""

    def __init__(
        self, writer: aiosqlite.Connection, readers: list[aiosqlite.Connection], threads: ReadingThreads,
        writing: WritingThread,
    ) -> None:
        self._writer = writer
        self._threads = threads
        self._write_lock = asyncio.Lock()
        self.in_turn = asyncio.Lock()
        """For those who have much to read before they can write: one after another, so that what the first has read is
        written while the next one reads."""
        self.way = GivingWay()
        """For those who keep the loop busy: who asks `read_at_once` goes first."""
        self._line = Line(writing, self._write_lock)
        self._all = [writer, *readers]
        self._free: asyncio.Queue[aiosqlite.Connection] = asyncio.Queue()
        for reader in readers:
            self._free.put_nowait(reader)

    @classmethod
    async def open(cls, data_dir: Path, steps_dir: Path = STEPS_DIR) -> "Database":
        """Opens the record in `data_dir`, making the folder and the record when they are not there.

        Raises:
            RecordUnusable: it cannot be opened here; `RecordDamaged` when SQLite's integrity check
                finds it damaged, `RecordFromNewerServer` when a newer server made it.
        """
        path = data_dir.resolve() / FILE_NAME
        opened: list[aiosqlite.Connection] = []
        try:
            try:
                keep_private(path)
                settle_last_commit(path)
                # A file that cannot be opened fails here: aiosqlite would leave a thread behind.
                sqlite3.connect(path).close()
                opened.append(await _connect(path, "rwc"))
                await _check(opened[0], path)
            except (sqlite3.Error, OSError) as error:
                raise RecordUnusable(f"{path} cannot be opened: {why_not(error, path)}") from error
            try:
                await _bring_up_to_date(opened[0], steps_dir)
                for _ in range(READERS):
                    opened.append(await _connect(path, "ro"))
                writing = WritingThread(_connect_to_write(path))
            except sqlite3.Error as error:
                if not _is_for_want_of_room(error, path):
                    raise
                raise RecordUnusable(f"{path} cannot be opened: {why_not(error, path)}") from error
        except BaseException:
            for connection in opened:
                await connection.close()
            raise
        return cls(opened[0], opened[1:], ReadingThreads(path), writing)

    @asynccontextmanager
    async def writing(self) -> AsyncIterator[aiosqlite.Connection]:
        """The one writing transaction: committed when the block ends, rolled back when it raises."""
        async with self._write_lock, self._transaction() as connection:
            yield connection

    @asynccontextmanager
    async def _transaction(self) -> AsyncIterator[aiosqlite.Connection]:
        try:
            # Inside the try: cancelled while it waits, BEGIN may still take effect.
            await self._writer.execute("BEGIN IMMEDIATE")
            yield self._writer
            await self._writer.commit()
        except BaseException:
            await self._writer.rollback()  # does nothing where nothing was begun
            raise

    async def together(
        self, work: Callable[[Written, Sequence[T]], Coroutine[Any, Any, Sequence[R]]], items: Sequence[T], most: int
    ) -> Sequence[R]:
        """What `work` makes of the items, one for each, once it is committed; see `Line.write`."""
        return await self._line.write(work, items, most)

    @asynccontextmanager
    async def reading(self) -> AsyncIterator[aiosqlite.Connection]:
        """A read-only connection that sees one moment of the record, whatever is written meanwhile."""
        connection = await self._free.get()
        try:
            await connection.execute("BEGIN")
            yield connection
        finally:
            try:
                await connection.rollback()
            finally:
                self._free.put_nowait(connection)

    async def read_at_once(self, work: Callable[[Asked], Coroutine[Any, Any, R]]) -> R:
        """What `work` makes of one moment of the record, asked on a thread in one go; it waits for nothing else."""
        with self.way.asking():
            return await self._threads.read(work)

    async def look_up(self, work: Callable[[Asked], Coroutine[Any, Any, R]]) -> R:
        """The same for a question that is answered sooner than a thread has it: a row found by its key."""
        return await self._threads.look_up(work)

    async def epoch(self) -> str:
        """Which record this is, now."""
        async with self.reading() as connection:
            return await change_log.epoch(connection)

    async def settle(self) -> None:
        """Brings what was written out of the log beside the record into it, so that what was emptied is nowhere."""
        async with self._write_lock:
            await self._writer.execute_fetchall("PRAGMA wal_checkpoint(TRUNCATE)")

    async def close(self) -> None:
        """Closes every connection once the write in hand is done; closing twice is no error."""
        await self._line.close()
        async with self._write_lock:
            await self._threads.close()
            connections, self._all = self._all, []
            for connection in reversed(connections):
                await connection.close()


def check_record(data_dir: Path) -> None:
    """Opens the record and closes it again, bringing it up to date; raises like `Database.open`."""

    async def open_and_close() -> None:
        await (await Database.open(data_dir)).close()

    asyncio.run(open_and_close())


def keep_private(path: Path) -> None:
    """Makes the record's folder and file where they are not there; only this user may read them from now on.

    SQLite gives the files it puts beside it (-wal, -shm) the record's own mode.
    """
    make_private_folder(path.parent)
    os.close(os.open(path, os.O_CREAT | os.O_RDWR, 0o600))
    for each in (path, path.with_name(path.name + "-wal"), path.with_name(path.name + "-shm")):
        if each.exists():
            each.chmod(0o600)


def settle_last_commit(path: Path) -> None:
    """Brings to the disk what a server wrote that was killed before it could see to that.

    The commit it was about is then found in the log and is answered for, and nothing would write it again.
    """
    for each in (path.with_name(path.name + "-wal"), path):
        settle_file(each)


async def _connect(path: Path, mode: str) -> aiosqlite.Connection:
    connection = await aiosqlite.connect(f"{path.as_uri()}?mode={mode}", uri=True, isolation_level=None)
    for each in PRAGMAS:
        await connection.execute(each)
    return connection


def _connect_to_write(path: Path) -> sqlite3.Connection:
    connection = sqlite3.connect(
        f"{path.as_uri()}?mode=rw", uri=True, isolation_level=None, check_same_thread=False
    )
    for each in (*PRAGMAS, *WRITERS_PRAGMAS):
        connection.execute(each)
    return connection


async def _check(writer: aiosqlite.Connection, path: Path) -> None:
    try:
        await _into_wal(writer)
        for each in WRITERS_PRAGMAS:
            await writer.execute(each)
        found = [row[0] for row in await writer.execute_fetchall("PRAGMA integrity_check(5)")]
    except sqlite3.DatabaseError as error:
        if error.sqlite_errorcode & PRIMARY_CODE not in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB):
            raise
        found = [str(error)]
    if found != ["ok"]:
        raise RecordDamaged(f"{path} is damaged ({'; '.join(found)}); keep the file and restore a copy")


async def _into_wal(writer: aiosqlite.Connection) -> None:
    """Turns the write-ahead log on. SQLite does not wait for this lock by itself (busy_timeout)."""
    for tries_left in reversed(range(WAL_TRIES)):
        try:
            await writer.execute("PRAGMA journal_mode = WAL")
            return
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode & PRIMARY_CODE != sqlite3.SQLITE_BUSY or not tries_left:
                raise
            await asyncio.sleep(WAL_PAUSE_S)


async def _bring_up_to_date(writer: aiosqlite.Connection, steps_dir: Path) -> None:
    await migrate(writer, read_steps(steps_dir), clock_ms())
    await writer.execute(
        "INSERT INTO server (only_row, epoch, made_at_ms) VALUES (1, ?, ?) ON CONFLICT DO NOTHING",
        (str(uuid.uuid4()), clock_ms()),
    )
