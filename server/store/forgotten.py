"""Statements for what a shop forgets of its owners."""

import aiosqlite


async def closed_before(connection: aiosqlite.Connection, hlc: str) -> list[str]:
    """Ids of jobs whose tray is `gone` since before this stamp, and that are not taken back."""
    rows = await connection.execute_fetchall(
        "SELECT id FROM visible_field WHERE kind = 'job' AND name = 'tray' AND value = '\"gone\"' AND stamp < ?"
        " ORDER BY id",
        (hlc,),
    )
    return [job_id for (job_id,) in rows]


async def job_fields(connection: aiosqlite.Connection, job_id: str) -> dict[str, tuple[str, str]]:
    """The fields of a job: name -> its value as JSON text, and its stamp."""
    rows = await connection.execute_fetchall(
        "SELECT name, value, stamp FROM field WHERE kind = 'job' AND id = ?", (job_id,)
    )
    return {name: (value, stamp) for name, value, stamp in rows}


async def bodies_about(connection: aiosqlite.Connection, job_id: str) -> list[tuple[int, bytes]]:
    """Number and body of every change in the log that set fields of this job and could be read."""
    rows = await connection.execute_fetchall(
        "SELECT seq, body FROM change WHERE applied = 1 AND json_extract(CAST(body AS TEXT), '$.what') = 'fields_set'"
        " AND json_extract(CAST(body AS TEXT), '$.id') = ?",
        (job_id,),
    )
    return [(seq, bytes(body)) for seq, body in rows]


async def put_body(connection: aiosqlite.Connection, seq: int, body: bytes) -> None:
    """Writes a body without an owner's words in the place of the one that held them."""
    await connection.execute("UPDATE change SET body = ?, words_taken_out = 1 WHERE seq = ?", (body, seq))


async def words_were_taken_out(connection: aiosqlite.Connection, change_id: str) -> bool:
    """Whether the log holds this change without its words."""
    rows = await connection.execute_fetchall("SELECT words_taken_out FROM change WHERE id = ?", (change_id,))
    return any(taken_out for (taken_out,) in rows)
