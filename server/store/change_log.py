"""The log of changes: find, append, hand out. Statements only."""

import aiosqlite
from msgspec import Raw

from shared_models.change import Change, NumberedChange

_COLUMNS = "seq, id, device, device_seq, hlc, actor, body"


def _numbered(row: aiosqlite.Row) -> NumberedChange:
    seq, change_id, device, device_seq, hlc, actor, body = row
    change = Change(id=change_id, device=device, device_seq=device_seq, hlc=hlc, actor=actor, body=Raw(body))
    return NumberedChange(seq=seq, change=change)


async def find(connection: aiosqlite.Connection, change_id: str) -> NumberedChange | None:
    """The change of this id, if the log has it."""
    rows = await connection.execute_fetchall(f"SELECT {_COLUMNS} FROM change WHERE id = ?", (change_id,))
    return next(map(_numbered, rows), None)


async def find_place(connection: aiosqlite.Connection, device: str, device_seq: int) -> NumberedChange | None:
    """The change that has this number of this device, if the log has one."""
    rows = await connection.execute_fetchall(
        f"SELECT {_COLUMNS} FROM change WHERE device = ? AND device_seq = ?", (device, device_seq)
    )
    return next(map(_numbered, rows), None)


async def append(connection: aiosqlite.Connection, change: Change, v: int, applied: bool) -> int:
    """Adds the change and gives its number. Inside a writing transaction only."""
    cursor = await connection.execute(
        "INSERT INTO change (id, device, device_seq, hlc, actor, v, body, applied) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
        (change.id, change.device, change.device_seq, change.hlc, change.actor, v, bytes(change.body), int(applied)),
    )
    assert cursor.lastrowid is not None  # an INSERT into a rowid table always has one
    return cursor.lastrowid


async def page(
    connection: aiosqlite.Connection, after: int, limit: int, max_body_bytes: int
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


async def count(connection: aiosqlite.Connection) -> int:
    """How many changes the log holds."""
    [(changes,)] = await connection.execute_fetchall("SELECT count(*) FROM change")
    return changes


async def epoch(connection: aiosqlite.Connection) -> str:
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
