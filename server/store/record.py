"""What the log adds up to: facts, fields, and what was removed. Statements only.

The rules (which of two values stays) are part of the statements, since SQLite decides them in one
step; when which statement is due is `server.sync.apply`'s.
"""

from collections.abc import Sequence

import aiosqlite

from server.store.at_once import Asked, Written
from server.store.many_rows import put_rows

Stamped = Sequence[str | int]
"""The columns of rows, one row after another; of each its stamp and its number last."""


async def add_facts(connection: Written, facts: Stamped) -> None:
    """Adds facts: kind, id, record, stamp, seq. Two different ones of one id are nobody's intention; then the
    later stamp stays, as for a field.
    """
    await put_rows(
        connection, "fact (kind, id, record, stamp, seq)", "(?, ?, ?, ?, ?)", facts,
        "ON CONFLICT (kind, id) DO UPDATE SET record = excluded.record, stamp = excluded.stamp, seq = excluded.seq"
        " WHERE excluded.stamp > stamp",
    )


async def set_fields(connection: Written, fields: Stamped) -> None:
    """Gives fields (kind, id, name, value, stamp, seq) their values, unless they have one with a later stamp."""
    await put_rows(
        connection, "field (kind, id, name, value, stamp, seq)", "(?, ?, ?, ?, ?, ?)", fields,
        "ON CONFLICT (kind, id, name) DO UPDATE SET value = excluded.value, stamp = excluded.stamp, seq = excluded.seq"
        " WHERE excluded.stamp > stamp",
    )


async def remove(connection: Written, removals: Stamped) -> None:
    """Takes records (kind, id, why, stamp, seq) back for good, there yet or not; the latest reason stays."""
    await put_rows(
        connection, "removed (kind, id, why, stamp, seq)", "(?, ?, ?, ?, ?)", removals,
        "ON CONFLICT (kind, id) DO UPDATE SET why = excluded.why, stamp = excluded.stamp, seq = excluded.seq"
        " WHERE excluded.stamp > stamp",
    )


async def visible_facts(connection: aiosqlite.Connection) -> dict[str, str]:
    """Every fact that is not taken back: "kind/id" -> its record as JSON text."""
    rows = await connection.execute_fetchall("SELECT kind, id, record FROM visible_fact ORDER BY kind, id")
    return {f"{kind}/{record_id}": record for kind, record_id, record in rows}


async def visible_fields(connection: aiosqlite.Connection) -> dict[str, dict[str, str]]:
    """Every entity that is not taken back: "kind/id" -> field -> its value as JSON text."""
    entities: dict[str, dict[str, str]] = {}
    rows = await connection.execute_fetchall("SELECT kind, id, name, value FROM visible_field ORDER BY kind, id, name")
    for kind, entity_id, name, value in rows:
        entities.setdefault(f"{kind}/{entity_id}", {})[name] = value
    return entities


async def removed_keys(connection: aiosqlite.Connection) -> list[str]:
    """What was taken back, as "kind/id", sorted."""
    rows = await connection.execute_fetchall("SELECT kind || '/' || id AS key FROM removed ORDER BY key")
    return [row[0] for row in rows]


async def entities_together(connection: Asked, *kinds: str) -> dict[str, str]:
    """Every entity of these kinds that is not taken back, by kind, as the text of one JSON object, id -> field -> value
    (of few rows, as `facts_together`).
    """
    rows = await connection.execute_fetchall(
        "SELECT kind, '{' || group_concat(json_quote(id) || ':' || fields) || '}' FROM (SELECT kind, id,"
        " '{' || group_concat(json_quote(name) || ':' || value) || '}' AS fields"
        f" FROM visible_field WHERE kind IN ({', '.join('?' * len(kinds))}) GROUP BY kind, id) GROUP BY kind", kinds,
    )
    return dict(tuple(row) for row in rows)


async def entity(connection: Asked, kind: str, entity_id: str) -> dict[str, str]:
    """The fields of one entity, their values as JSON text; none when it is not there or taken back."""
    rows = await connection.execute_fetchall(
        "SELECT name, value FROM visible_field WHERE kind = ? AND id = ?", (kind, entity_id)
    )
    return dict(tuple(row) for row in rows)


async def visible_fact(connection: Asked, kind: str, record_id: str) -> str | None:
    """A fact as JSON text, if it is there and not taken back."""
    rows = await connection.execute_fetchall(
        "SELECT record FROM visible_fact WHERE kind = ? AND id = ?", (kind, record_id)
    )
    return next((record for (record,) in rows), None)


async def facts_of_owners(
    connection: aiosqlite.Connection, kinds: Sequence[str], owners: Sequence[str]
) -> dict[tuple[str, str], list[tuple[str, str, bool]]]:
    """The facts of these kinds that belong to `owners`, by (kind, owner) and there by id: id, record as JSON
    text, and whether it is taken back. One question for all of them."""
    found: dict[tuple[str, str], list[tuple[str, str, bool]]] = {(kind, own): [] for kind in kinds for own in owners}
    rows = await connection.execute_fetchall(
        "SELECT kind, owner, id, record, EXISTS"
        " (SELECT 1 FROM removed WHERE removed.kind = fact.kind AND removed.id = fact.id)"
        # by itself SQLite walks through every fact of the kind, since those lie in the order of their ids
        f" FROM fact INDEXED BY fact_of_owner WHERE owner IN ({', '.join('?' * len(owners))})"
        f" AND kind IN ({', '.join('?' * len(kinds))}) ORDER BY owner, kind, id",
        (*owners, *kinds),
    )
    for kind, owner, record_id, record, is_removed in rows:
        found[kind, owner].append((record_id, record, bool(is_removed)))
    return found


async def facts_together(
    connection: Asked, kinds: Sequence[str], owners: Sequence[str]
) -> dict[tuple[str, str], tuple[str, list[str]]]:
    """The facts of these kinds that belong to `owners`, by (kind, owner), as the text of one JSON array, and the ids of
    those that are taken back. Few rows: each row of an answer waits for the interpreter.
    """
    rows = await connection.execute_fetchall(
        "SELECT kind, owner, '[' || group_concat(record) || ']', group_concat(CASE WHEN EXISTS"
        " (SELECT 1 FROM removed WHERE removed.kind = fact.kind AND removed.id = fact.id) THEN id END, ' ')"
        # by itself SQLite walks through every fact of the kind, since those lie in the order of their ids
        f" FROM fact INDEXED BY fact_of_owner WHERE owner IN ({', '.join('?' * len(owners))})"
        f" AND kind IN ({', '.join('?' * len(kinds))}) GROUP BY owner, kind",
        (*owners, *kinds),
    )
    return {(kind, owner): (records, str(gone).split() if gone else []) for kind, owner, records, gone in rows}
