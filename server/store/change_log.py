"""The log of changes: find, append, hand out. Statements only."""

import json
import sqlite3
from collections.abc import Sequence
from typing import Any

import aiosqlite
from msgspec import Raw

from server.store.at_once import Asked, Written
from server.store.many_rows import put_rows
from shared_models.change import Change, NumberedChange

Place = tuple[str, int]
"""A device and its own number of a change."""

_COLUMNS = "seq, id, device, device_seq, hlc, actor, body"


def _numbered(row: Sequence[Any]) -> NumberedChange:
    seq, change_id, device, device_seq, hlc, actor, body = row
    change = Change(id=change_id, device=device, device_seq=device_seq, hlc=hlc, actor=actor, body=Raw(body))
    return NumberedChange(seq=seq, change=change)


async def find(connection: Asked, ids: Sequence[str]) -> dict[str, NumberedChange]:
    """Those of these changes that the log has, by id."""
    rows = await connection.execute_fetchall(
        f"SELECT {_COLUMNS} FROM change WHERE id IN (SELECT value FROM json_each(?))", (json.dumps(ids),)
    )
    return {one.change.id: one for one in map(_numbered, rows)}


async def find_places(connection: Asked, places: Sequence[Place]) -> dict[Place, str]:
    """Those of these numbers of devices that the log has, with the id of the change there."""
    rows = await connection.execute_fetchall(
        "SELECT change.device, change.device_seq, change.id FROM json_each(?) AS given CROSS JOIN change"
        " ON change.device = json_extract(given.value, '$[0]')"
        " AND change.device_seq = json_extract(given.value, '$[1]')",
        (json.dumps(places),),
    )
    return {(device, device_seq): change_id for device, device_seq, change_id in rows}


async def next_seq(connection: Asked) -> int:
    """The number the next change gets. Inside a writing transaction only."""
    rows = await connection.execute_fetchall("SELECT seq FROM sqlite_sequence WHERE name = 'change'")
    return next((seq for (seq,) in rows), 0) + 1


async def append(connection: Written, changes: Sequence[tuple[int, Change, int, bool]]) -> None:
    """Adds changes, each with its number, the version of its body, and whether the record has it.

    Inside a writing transaction only, with numbers from `next_seq` on.
    """
    values: list[Any] = []
    for seq, one, v, applied in changes:
        values += (seq, one.id, one.device, one.device_seq, one.hlc, one.actor, v, bytearray(one.body), int(applied))
    await put_rows(
        connection, "change (seq, id, device, device_seq, hlc, actor, v, body, applied)", "(?, ?, ?, ?, ?, ?, ?, ?, ?)",
        values,
    )


async def append_if_new(connection: Written, changes: Sequence[tuple[int, Change, int, bool]]) -> bool:
    """Adds changes like `append`, all of them; or none, when the log has one of their ids or places already."""
    await connection.execute("SAVEPOINT all_new")
    try:
        await append(connection, changes)
    except sqlite3.IntegrityError:
        await connection.execute("ROLLBACK TO all_new")
        await connection.execute("RELEASE all_new")
        return False
    # after any other error the whole transaction is given up, and a full disk may have ended it already
    await connection.execute("RELEASE all_new")
    return True


async def page(
    connection: Asked, after: int, limit: int, max_body_bytes: int
) -> tuple[tuple[NumberedChange, ...], bool]:
    """Changes numbered above `after`, oldest first, and whether there are more.

    At most `limit` of them, and none beyond the one with which their bodies reach `max_body_bytes`
    together: a page stays small whatever is in the log, and is never empty while there is more.
    """
    rows = await connection.execute_fetchall(
        f"""
        WITH next AS (SELECT seq AS n, length(body) AS bytes FROM change WHERE seq > ? ORDER BY seq LIMIT ?),
             sized AS (SELECT n, sum(bytes) OVER (ORDER BY n) - bytes AS before FROM next)
        SELECT {_COLUMNS} FROM sized JOIN change ON seq = n WHERE before < ? ORDER BY seq
        """,
        (after, limit, max_body_bytes),
    )
    changes = tuple(map(_numbered, rows))
    last = changes[-1].seq if changes else after
    more = await connection.execute_fetchall("SELECT 1 FROM change WHERE seq > ? LIMIT 1", (last,))
    return changes, bool(list(more))


async def count(connection: Asked) -> int:
    """How many changes the log holds: numbers run from 1 without a gap, and counting a million takes its time."""
    [(changes,)] = await connection.execute_fetchall("SELECT coalesce(max(seq), 0) FROM change")
    return changes


async def epoch(connection: Asked) -> str:
    """Which record this is; another one after it was restored, which may be while the server runs."""
    [(found,)] = await connection.execute_fetchall("SELECT epoch FROM server")
    return found


async def waiting(connection: aiosqlite.Connection, up_to_v: int) -> list[NumberedChange]:
    """Changes not applied to the record yet although this server can read them, in their order."""
    rows = await connection.execute_fetchall(
        f"SELECT {_COLUMNS} FROM change WHERE applied = 0 AND v <= ? ORDER BY seq", (up_to_v,)
    )
    return list(map(_numbered, rows))


async def mark_applied(connection: aiosqlite.Connection, seq: int) -> None:
    """Notes that the record has this change."""
    await connection.execute("UPDATE change SET applied = 1 WHERE seq = ?", (seq,))


async def not_applied_ids(connection: aiosqlite.Connection) -> list[str]:
    """Ids of the changes that are kept but not in the record, sorted."""
    return [row[0] for row in await connection.execute_fetchall("SELECT id FROM change WHERE applied = 0 ORDER BY id")]
