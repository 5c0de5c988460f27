"""Work that asks the record many things, or writes many, in one go on a thread.

A question asked from the loop goes to the thread of a connection and back, and each way waits for the interpreter that
the loop holds while it reads what phones send. Work that asks many things goes there whole instead, and once.
"""

import asyncio
import sqlite3
import threading
from collections.abc import Awaitable, Callable, Coroutine, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any, Protocol, TypeVar

R = TypeVar("R")
THREADS, WAIT_S = 3, 10.0


class Asked(Protocol):
    """What answers questions: a connection of the loop's, or one of a thread that does nothing else meanwhile."""

    def execute_fetchall(self, sql: str, parameters: Iterable[Any] | None = None) -> Awaitable[Iterable[Any]]:
        """All rows."""
        ...


class Written(Asked, Protocol):
    """What is also told to write."""

    def execute(self, sql: str, parameters: Iterable[Any] | None = None) -> Awaitable[Any]:
        """Carries a statement out."""
        ...


class _Answering:
    """Answers on the thread where it is asked, before the question is over: nothing waits."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection

    async def execute_fetchall(self, sql: str, parameters: Iterable[Any] | None = None) -> Iterable[Any]:
        given: Sequence[Any] = tuple(parameters or ())
        return self._connection.execute(sql, given).fetchall()

    async def execute(self, sql: str, parameters: Iterable[Any] | None = None) -> None:
        given: Sequence[Any] = parameters if isinstance(parameters, list) else tuple(parameters or ())
        self._connection.execute(sql, given)


class ReadingThreads:
    """A few threads, each with a connection of its own that only reads."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._own = threading.local()
        self._here: sqlite3.Connection | None = None
        self._opened: list[sqlite3.Connection] = []
        self._threads = ThreadPoolExecutor(THREADS, thread_name_prefix="reading")

    async def read(self, work: Callable[[Asked], Coroutine[Any, Any, R]]) -> R:
        """What the work makes of one moment of the record. It must wait for nothing but answers of the record."""
        return await asyncio.get_running_loop().run_in_executor(self._threads, self._on_this_thread, work)

    async def close(self) -> None:
        """Once what is being read is read; closing twice is no error."""
        await asyncio.to_thread(self._threads.shutdown)
        opened, self._opened, self._here = self._opened, [], None
        for connection in opened:
            connection.close()

    async def look_up(self, work: Callable[[Asked], Coroutine[Any, Any, R]]) -> R:
        """What the work makes of one moment of the record, here and now; on a thread only where it cannot be had at
        once: the loop waits for nobody's lock."""
        try:
            return _in_one_moment(self._connection_here(), work)
        except sqlite3.OperationalError:
            return await self.read(work)

    def _on_this_thread(self, work: Callable[[Asked], Coroutine[Any, Any, R]]) -> R:
        found: sqlite3.Connection | None = getattr(self._own, "connection", None)
        if found is None:
            found = self._own.connection = self._opens(WAIT_S)
        return _in_one_moment(found, work)

    def _connection_here(self) -> sqlite3.Connection:
        if self._here is None:
            self._here = self._opens(0)
        return self._here

    def _opens(self, wait_s: float) -> sqlite3.Connection:
        connection = sqlite3.connect(
            f"{self._path.as_uri()}?mode=ro", uri=True, isolation_level=None, timeout=wait_s, check_same_thread=False
        )
        self._opened.append(connection)
        return connection


class WritingThread:
    """A thread with a connection of its own, for writing transactions that are over without the loop.

    Whoever uses it sees to it that nobody else writes meanwhile.
    """

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection
        self._thread = ThreadPoolExecutor(1, thread_name_prefix="writing")

    async def write(self, work: Callable[[Written], Coroutine[Any, Any, R]]) -> R:
        """What the work made in one transaction, once it is committed; when it raises, nothing is written.

        It must wait for nothing but the record. Given up while it is being written, it is written all the same: this
        returns, or raises, only once the thread is through.
        """
        writing = asyncio.get_running_loop().run_in_executor(self._thread, self._in_one_transaction, work)
        given_up: asyncio.CancelledError | None = None
        while not writing.done():
            try:
                await asyncio.wait([writing])
            except asyncio.CancelledError as error:
                given_up = error
        if given_up:
            raise given_up
        return writing.result()

    async def close(self) -> None:
        """Once what is being written is written; closing twice is no error."""
        await asyncio.to_thread(self._thread.shutdown)
        self._connection.close()

    def _in_one_transaction(self, work: Callable[[Written], Coroutine[Any, Any, R]]) -> R:
        try:
            self._connection.execute("BEGIN IMMEDIATE")
            made = _to_its_end(work(_Answering(self._connection)))
            self._connection.commit()
        except BaseException:
            self._connection.rollback()  # does nothing where nothing was begun
            raise
        return made


def _in_one_moment(connection: sqlite3.Connection, work: Callable[[Asked], Coroutine[Any, Any, R]]) -> R:
    connection.execute("BEGIN")
    try:
        return _to_its_end(work(_Answering(connection)))
    finally:
        connection.rollback()


def _to_its_end(work: Coroutine[Any, Any, R]) -> R:
    try:
        work.send(None)
    except StopIteration as end:
        return end.value
    work.close()
    raise RuntimeError("work on a reading thread waited for something else than the record")
