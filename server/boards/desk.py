"""Board files that lie open: read one after another beside the loop, kept in memory, the oldest put away.

Decides: that nothing of a board file is stored, whole or half. What a phone keeps is the `BoardVersion` it takes
over; a file that was put away is sent again.
"""

import asyncio
import hashlib
from collections import OrderedDict

from anyio import CapacityLimiter, to_thread

from server.boards.door import OpenBoard
from server.boards.find_format import format_of
from server.boards.pin_list import PinColumnNames, columns_from
from server.problems import Refusal
from shared_models.board_file import BoardReading, TracedSocket
from shared_models.change import Problem

KEPT = 3
"""Boards that lie open at once; one of 30 MB takes some 100 MB once it is read."""


class _Lying:
    """One file on the desk. `read_bytes` is written by the thread that reads and only looked at elsewhere."""

    def __init__(self, file_id: str, of_bytes: int) -> None:
        self.file_id, self.of_bytes = file_id, of_bytes
        self.read_bytes = 0
        self.board: OpenBoard | None = None
        self.problem: Problem | None = None

    def answer(self) -> BoardReading:
        if self.problem is not None:
            return self._as("refused")
        return self._as("reading") if self.board is None else self._as("read")

    def _as(self, state: str) -> BoardReading:
        return BoardReading(
            id=self.file_id, state=state,  # type: ignore[arg-type]
            read_bytes=self.of_bytes if state == "read" else min(self.read_bytes, self.of_bytes),
            of_bytes=self.of_bytes,
            board=self.board.summary() if self.board is not None else None, problem=self.problem,
        )


class BoardDesk:
    """The board files of one server."""

    def __init__(self) -> None:
        self._lying: OrderedDict[str, _Lying] = OrderedDict()
        self._tasks: set[asyncio.Task[None]] = set()
        self._one_at_a_time = CapacityLimiter(1)

    def lay(self, raw: bytes, columns_told: str | None) -> BoardReading:
        """Begins to read a file, or says how far it is if it lies here already.

        Raises:
            Refusal: what is no board file by its first bytes, or columns that cannot be.
        """
        format_of(raw)
        columns = columns_from(columns_told) if columns_told else None
        digest = hashlib.sha256(raw)
        digest.update((columns_told or "").encode())
        file_id = digest.hexdigest()
        if file_id not in self._lying:
            lying = self._lying[file_id] = _Lying(file_id, len(raw))
            while len(self._lying) > KEPT:
                self._lying.popitem(last=False)
            task = asyncio.create_task(self._read(lying, raw, columns))
            self._tasks.add(task)
            task.add_done_callback(self._tasks.discard)
        return self.look(file_id)

    def look(self, file_id: str) -> BoardReading:
        """How far the reading of a file has come. Raises `Refusal` 404 for one that does not lie here."""
        return self._find(file_id).answer()

    async def trace(self, file_id: str, ref: str) -> TracedSocket:
        """A socket of a file that was read.

        Raises:
            Refusal: 404 where the file or the socket is not here, 409 while it is being read, 422 where it was refused.
        """
        lying = self._find(file_id)
        if lying.problem is not None:
            raise Refusal(422, lying.problem)
        if lying.board is None:
            raise Refusal(409, Problem(
                code="still_reading", message="The file is still being read.", where="the path", given=file_id,
                expected="state read", example=f"/api/board-files/{file_id}",
            ))
        return await to_thread.run_sync(lying.board.traced, ref)

    async def close(self) -> None:
        """Lets go of what is being read."""
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)

    async def _read(self, lying: _Lying, raw: bytes, columns: PinColumnNames | None) -> None:
        def told(read_bytes: int) -> None:
            lying.read_bytes = read_bytes

        try:
            lying.board = await to_thread.run_sync(
                OpenBoard.of, raw, columns, told, limiter=self._one_at_a_time, abandon_on_cancel=True
            )
        except Refusal as refusal:
            lying.problem = refusal.problem
        except Exception as error:  # whatever a file made of malice brings about is told, and the server stays up
            lying.problem = Problem(
                code="unreadable", message="The file could not be read.", where="the whole file",
                given=f"{type(error).__name__}: {error}"[:200], expected="a board file as a layout program writes it",
                example="export it again from the layout program",
            )

    def _find(self, file_id: str) -> _Lying:
        lying = self._lying.get(file_id)
        if lying is None:
            raise Refusal(404, Problem(
                code="no_such_board_file",
                message="This file does not lie here; only the last few are kept, in memory.",
                where="the path", given=file_id[:80], expected="the id of a file that was sent just before",
                example="send the file again with POST to /api/board-files",
            ))
        self._lying.move_to_end(file_id)
        return lying
