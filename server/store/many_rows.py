"""Many rows by few statements.

`executemany` makes a step of every row, and before each the writer's thread needs the interpreter: while the loop
is busy reading what phones send, it waits for it row after row. A statement of many rows needs it once, and the two
work side by side.
"""

from collections.abc import Sequence
from functools import cache
from typing import Any

from server.store.at_once import Written

ROWS_AT_ONCE = 2048
"""Rows of one statement, at most. What is left over is halved, so that few different statements are prepared."""


async def put_rows(
    connection: Written, into: str, row: str, values: Sequence[Any], conflict: str = ""
) -> None:
    """Inserts rows in their order.

    `into`: a table with its columns; `row`: how one is written, `(?, ?)`; `values`: those of all rows, one row after
    another; `conflict`: what an upsert says after the rows.
    """
    columns = row.count("?")
    at, size, count = 0, ROWS_AT_ONCE, len(values) // columns
    while at < count:
        while size > count - at:
            size //= 2
        those = values[at * columns : (at + size) * columns]
        await connection.execute(_statement(into, row, size, conflict), those)
        at += size


@cache
def _statement(into: str, row: str, rows: int, conflict: str) -> str:
    return f"INSERT INTO {into} VALUES {', '.join([row] * rows)} {conflict}"
