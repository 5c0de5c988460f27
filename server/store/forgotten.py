"""Statements for what a shop forgets of its owners. `jobs` are ids of jobs."""

import json

import aiosqlite

from server.store.at_once import Asked

_OF_JOBS = "IN (SELECT value FROM json_each(?))"


async def closed_before(connection: aiosqlite.Connection, hlc: str) -> list[str]:
    """Ids of an owner's jobs whose tray is `gone` since before this stamp, and that are not taken back."""
    rows = await connection.execute_fetchall(
        "SELECT id FROM visible_field AS job WHERE kind = 'job' AND name = 'tray' AND value = '\"gone\"' AND stamp < ?"
        " AND NOT EXISTS (SELECT 1 FROM field WHERE field.kind = 'job' AND field.id = job.id"
        " AND field.name = 'reference_board_id' AND field.value <> 'null') ORDER BY id",
        (hlc,),
    )
    return [job_id for (job_id,) in rows]


async def job_fields(connection: aiosqlite.Connection, job_id: str) -> dict[str, tuple[str, str]]:
    """The fields of a job: name -> its value as JSON text, and its stamp."""
    rows = await connection.execute_fetchall(
        "SELECT name, value, stamp FROM field WHERE kind = 'job' AND id = ?", (job_id,)
    )
    return {name: (value, stamp) for name, value, stamp in rows}


async def facts_with_stamps(connection: aiosqlite.Connection, kind: str, job_id: str) -> list[tuple[str, str, str]]:
    """All facts of a kind that belong to a job, those taken back too: id, record as JSON text, stamp."""
    rows = await connection.execute_fetchall(
        "SELECT id, record, stamp FROM fact INDEXED BY fact_of_owner WHERE owner = ? AND kind = ? ORDER BY id",
        (job_id, kind),
    )
    return [(record_id, text, stamp) for record_id, text, stamp in rows]


async def bodies_about(
    connection: aiosqlite.Connection, jobs: list[str], kinds: list[str]
) -> list[tuple[int, bytes]]:
    """Number and body of every change in the log that set fields of these jobs, or added facts of these kinds to them.

    One walk through the log, however many jobs there are. Changes that could not be read yet are left out.
    """
    rows = await connection.execute_fetchall(
        "SELECT seq, body FROM (SELECT seq, CAST(body AS TEXT) AS body FROM change WHERE applied = 1 AND"
        f" words_taken_out = 0) WHERE (json_extract(body, '$.what') = 'fields_set' AND"
        f" json_extract(body, '$.kind') = 'job' AND json_extract(body, '$.id') {_OF_JOBS}) OR"
        f" (json_extract(body, '$.what') = 'added' AND json_extract(body, '$.kind') {_OF_JOBS} AND"
        f" coalesce(json_extract(body, '$.record.of.job_id'), json_extract(body, '$.record.job_id')) {_OF_JOBS})",
        (json.dumps(jobs), json.dumps(kinds), json.dumps(jobs)),
    )
    return [(seq, body.encode()) for seq, body in rows]


async def put_body(connection: aiosqlite.Connection, seq: int, body: bytes) -> None:
    """Writes a body without an owner's words in the place of the one that held them."""
    await connection.execute("UPDATE change SET body = ?, words_taken_out = 1 WHERE seq = ?", (body, seq))


async def words_were_taken_out(connection: Asked, change_id: str) -> bool:
    """Whether the log holds this change without its words."""
    rows = await connection.execute_fetchall("SELECT words_taken_out FROM change WHERE id = ?", (change_id,))
    return any(taken_out for (taken_out,) in rows)


async def pictures_nowhere(connection: aiosqlite.Connection, jobs: list[str]) -> list[str]:
    """Hashes of the pictures these jobs had that no photo in the record names any more."""
    rows = await connection.execute_fetchall(
        f"SELECT json_extract(record, '$.sha256') FROM fact WHERE kind = 'photo' AND owner {_OF_JOBS}"
        " EXCEPT SELECT json_extract(record, '$.sha256') FROM visible_fact WHERE kind = 'photo'",
        (json.dumps(jobs),),
    )
    return [sha256 for (sha256,) in rows]
