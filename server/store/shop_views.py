"""Reads the record for a shop's own database: what changed after a number, and the rows of the `shop_` views.

Only reads, and brings nothing up to date: that is the server's own start.
"""

import json
import sqlite3
from collections.abc import AsyncIterator, Iterable, Sequence
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any, NamedTuple

import aiosqlite

from server.store.database import FILE_NAME
from server.store.migrations import RecordFromNewerServer, RecordUnusable, read_steps

JSON_COLUMNS = frozenset({
    *("what_happened", "symptoms", "conditions", "touch", "contacts", "corners"),
    *("was_wrong", "did", "said_before", "met_voltage", "parts_replaced", "settles", "options"),
})
BOOL_COLUMNS = frozenset({"is_removed", "done", "is_injection", "is_return", "is_end", "given", "learn"})
TABLES = {
    "job": "job", "meter": "meter", "reference_board": "reference_board", "board_version": "board",
    "reading": "reading", "observation": "observation", "make_safe": "make_safe", "photo": "photo",
    "power_check": "power_check", "rail_point": "rail_point", "custody": "custody", "consent": "consent",
    "closing": "closing", "shop": "figures",
}
"""The kinds of records that have a view and a table, with the table's name; the view is `shop_` and that."""

Row = dict[str, Any]


class Source(NamedTuple):
    """Which record this is. `made_at_ms` stays when it is restored from a copy; `epoch` does not."""

    epoch: str
    made_at_ms: int
    newest_seq: int


class Page(NamedTuple):
    """Changes after a number: which records they touch, by kind, and which of them are kept closed."""

    last_seq: int
    touched: dict[str, set[str]]
    closed: list[int]


@asynccontextmanager
async def reading_only(data_dir: Path) -> AsyncIterator[aiosqlite.Connection]:
    """The record, in use or not; nothing can be written to it.

    Raises:
        RecordUnusable: there is none, it cannot be read, or its tables are not today's.
    """
    path = data_dir.resolve() / FILE_NAME
    if not path.is_file():
        raise RecordUnusable(f"there is no record in {data_dir}: say where it is with --data DIR")
    try:
        # A file that cannot be opened fails here: aiosqlite would leave a thread behind.
        sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True).close()
        connection = await aiosqlite.connect(f"{path.as_uri()}?mode=ro", uri=True, isolation_level=None)
    except sqlite3.Error as error:
        raise RecordUnusable(f"{path} cannot be read: {error}") from error
    try:
        await _be_of_today(connection, path)
        yield connection
    finally:
        await connection.close()


async def _be_of_today(connection: aiosqlite.Connection, path: Path) -> None:
    try:
        await connection.execute("PRAGMA busy_timeout = 10000")
        [(done,)] = await connection.execute_fetchall("SELECT max(number) FROM step")
    except sqlite3.Error as error:
        raise RecordUnusable(f"{path} cannot be read: {error}") from error
    known = len(read_steps())
    if done > known:
        raise RecordFromNewerServer(f"{path} has had step {done}, this version knows {known}: update this one")
    if done < known:
        raise RecordUnusable(f"{path} is of an older version: start today's server on it once, then try again")


@asynccontextmanager
async def one_moment(connection: aiosqlite.Connection) -> AsyncIterator[None]:
    """What is read inside belongs together, whatever is written meanwhile."""
    await connection.execute("BEGIN")
    try:
        yield
    finally:
        await connection.rollback()


async def source_of(connection: aiosqlite.Connection) -> Source:
    """Which record this is, and the number of its newest change."""
    [row] = await connection.execute_fetchall(
        "SELECT epoch, made_at_ms, (SELECT coalesce(max(seq), 0) FROM change) FROM server"
    )
    return Source(*row)


_TOUCHES = """
    SELECT seq, applied, json_extract(text, '$.kind'),
           coalesce(json_extract(text, '$.record.id'), json_extract(text, '$.id'))
    FROM (SELECT seq, applied, CAST(body AS TEXT) AS text FROM change WHERE {which}) ORDER BY seq
"""


async def changed_after(connection: aiosqlite.Connection, after: int, limit: int) -> Page:
    """What the next `limit` changes after a number touch."""
    which = _TOUCHES.format(which="seq > ? ORDER BY seq LIMIT ?")
    found = list(await connection.execute_fetchall(which, (after, limit)))
    open_ones = [(kind, record_id) for _, applied, kind, record_id in found if applied]
    return Page(
        last_seq=found[-1][0] if found else after, touched=_by_kind(open_ones),
        closed=[seq for seq, applied, _, _ in found if not applied],
    )


async def opened_since(connection: aiosqlite.Connection, closed: Sequence[int]) -> Page:
    """Of changes that were closed before, those that are open now; `closed` of the page are the others."""
    which = _TOUCHES.format(which="seq IN (SELECT value FROM json_each(?)) AND applied = 1")
    found = list(await connection.execute_fetchall(which, (json.dumps(list(closed)),)))
    opened = {seq for seq, *_ in found}
    return Page(
        last_seq=0, touched=_by_kind((kind, record_id) for _, _, kind, record_id in found),
        closed=[seq for seq in closed if seq not in opened],
    )


def _by_kind(found: Iterable[tuple[str, str]]) -> dict[str, set[str]]:
    touched: dict[str, set[str]] = {}
    for kind, record_id in found:
        touched.setdefault(kind, set()).add(record_id)
    return touched


async def rows_of(connection: aiosqlite.Connection, kind: str, ids: Iterable[str]) -> list[Row]:
    """The rows of these records, those taken back too; a record that is only known to be removed has none."""
    wanted = sorted(ids)
    marks = ", ".join("?" * len(wanted))
    cursor = await connection.execute(f"SELECT * FROM shop_{TABLES[kind]} WHERE id IN ({marks}) ORDER BY id", wanted)
    return [_row(cursor, values) for values in await cursor.fetchall()]


async def all_rows(connection: aiosqlite.Connection, kind: str) -> AsyncIterator[Row]:
    """Every row of a kind, by its id."""
    cursor = await connection.execute(f"SELECT * FROM shop_{TABLES[kind]} ORDER BY id")
    async for values in cursor:
        yield _row(cursor, values)


def _row(cursor: aiosqlite.Cursor, values: Iterable[Any]) -> Row:
    row = dict(zip((column[0] for column in cursor.description), values, strict=True))
    for name in JSON_COLUMNS & row.keys():
        row[name] = None if row[name] is None else json.loads(row[name])
    for name in BOOL_COLUMNS & row.keys():
        row[name] = bool(row[name])
    return row


async def jobs_of(connection: aiosqlite.Connection, touched: dict[str, set[str]]) -> set[str]:
    """The jobs whose sheet the touched records belong to."""
    jobs = set(touched.get("job", ()))
    for kind in ("reading", "observation", "make_safe"):
        wanted = sorted(touched.get(kind, ()))
        marks = ", ".join("?" * len(wanted))
        jobs |= {owner for (owner,) in await connection.execute_fetchall(
            f"SELECT DISTINCT owner FROM fact WHERE kind = ? AND id IN ({marks}) AND EXISTS"
            " (SELECT 1 FROM field WHERE field.kind = 'job' AND field.id = fact.owner)", (kind, *wanted),
        )}
    return jobs


async def stages_of(connection: aiosqlite.Connection, job_id: str) -> list[str]:
    """The stages of which a job has readings that are not taken back."""
    rows = await connection.execute_fetchall(
        "SELECT DISTINCT coalesce(json_extract(record, '$.stage'), 'before_repair') AS stage"
        " FROM fact INDEXED BY fact_of_owner WHERE owner = ? AND kind = 'reading' AND NOT EXISTS"
        " (SELECT 1 FROM removed WHERE removed.kind = fact.kind AND removed.id = fact.id)"
        " ORDER BY stage DESC", (job_id,),
    )
    return [stage for (stage,) in rows]
