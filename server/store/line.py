"""What waits to be written, and is written together.

Most of a short transaction is waiting for the disk. So all that was brought for the same work while the last one was
written goes into one transaction, and a thread carries it out from its beginning to its commit.
"""

import asyncio
from collections.abc import Callable, Coroutine, Sequence
from typing import Any, TypeVar

from server.store.at_once import WritingThread, Written

T = TypeVar("T")
R = TypeVar("R")


class _GivenUp(Exception):
    """Somebody whose items were just written waits for them no more."""


class _Brought:
    """Items that wait for their turn to be written, and what was made of them."""

    def __init__(self, work: Any, items: Sequence[Any], most: int) -> None:
        self.work, self.items, self.most = work, items, most
        self.made: asyncio.Future[Sequence[Any]] = asyncio.get_running_loop().create_future()
        self.alone = False


class Line:
    """Those who have something to write, in their order. `lock` is whose turn it is to write the record at all."""

    def __init__(self, thread: WritingThread, lock: asyncio.Lock) -> None:
        self._thread, self._lock = thread, lock
        self._waiting: list[_Brought] = []
        self._writing: asyncio.Task[None] | None = None

    async def write(
        self, work: Callable[[Written, Sequence[T]], Coroutine[Any, Any, Sequence[R]]], items: Sequence[T], most: int
    ) -> Sequence[R]:
        """What `work` makes of the items, one for each, once it is committed; with others' in one transaction.

        At most `most` items go together. Where that fails, nothing of it is stored and each of them has its turn
        alone, so that nobody's fault is another's. Who gives up before the commit has nothing written.
        """
        mine = _Brought(work, items, most)
        self._waiting.append(mine)
        if self._writing is None or self._writing.done():
            self._writing = asyncio.create_task(self._write_all())
        try:
            return await mine.made
        finally:
            if mine in self._waiting:
                self._waiting.remove(mine)

    async def close(self) -> None:
        """Once all that waits is written; closing twice is no error."""
        if self._writing is not None:
            await asyncio.wait([self._writing])
        await self._thread.close()

    async def _write_all(self) -> None:
        while self._waiting:
            async with self._lock:
                await self._write_party()

    async def _write_party(self) -> None:
        party = self._next_party()
        if not party:
            return
        items = [item for one in party for item in one.items]

        async def work(connection: Written) -> Sequence[Any]:
            made = await party[0].work(connection, items)
            if any(one.made.cancelled() for one in party):
                raise _GivenUp
            return made

        try:
            made = await self._thread.write(work)
        except Exception as error:
            if len(party) == 1 and not party[0].made.done():
                party[0].made.set_exception(error)
            for one in party:
                one.alone = not isinstance(error, _GivenUp)
            self._waiting[:0] = [one for one in party if not one.made.done()]
            return
        at = 0
        for one in party:
            if not one.made.done():
                one.made.set_result(made[at : at + len(one.items)])
            at += len(one.items)

    def _next_party(self) -> list[_Brought]:
        """Takes those out of the line who are written next."""
        party: list[_Brought] = []
        room = 0
        for one in list(self._waiting):
            if not party:
                room = one.most
            elif party[0].alone or one.alone or one.work != party[0].work or len(one.items) > room:
                continue
            party.append(one)
            room -= len(one.items)
            self._waiting.remove(one)
        return party
