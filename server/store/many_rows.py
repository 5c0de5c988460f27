"""Many rows by few statements.

`executemany` makes a step of every row, and before each the writer's thread needs the interpreter: while the loop
is busy reading what phones send, it waits for it row after row. A statement of many rows needs it once, and the two
work side by side.
"""

from collections.abc import Sequence
from functools import cache
from typing import Any

import aiosqlite

ROWS_AT_ONCE = 256
"""Rows of one statement, at most. What is left over is halved, so that few different statements are prepared."""


async def put_rows(
    connection: aiosqlite.Connection, into: str, rows: Sequence[Sequence[Any]], conflict: str = ""
) -> None:
    """Inserts rows in their order. `into`: a table with its columns; `conflict`: what an upsert says after the rows."""
    at, size = 0, ROWS_AT_ONCE
    while at < len(rows):
        while size > len(rows) - at:
            size //= 2
        values = [value for row in rows[at : at + size] for value in row]
        await connection.execute(_statement(into, len(rows[0]), size, conflict), values)
        at += size


@cache
def _statement(into: str, columns: int, rows: int, conflict: str) -> str:
    row = f"({', '.join('?' * columns)})"
    return f"INSERT INTO {into} VALUES {', '.join([row] * rows)} {conflict}"
