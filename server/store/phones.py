"""Phones, the codes that pair them, and the addresses the shop had. Statements only.

Tokens and codes come in as hashes. Who may do what is `server.access`'s.
"""

import aiosqlite

from server.store.at_once import Asked, Written
from shared_models.pairing import CodeWanted, Phone

_COLUMNS = "id, name, technician, role, paired_at_ms, last_synced_at_ms, revoked_at_ms"


def _phone(row: aiosqlite.Row) -> Phone:
    phone_id, name, technician, role, paired, synced, revoked = row
    return Phone(
        id=phone_id, name=name, technician=technician, role=role, paired_at_ms=paired, last_synced_at_ms=synced,
        revoked_at_ms=revoked,
    )


async def add_code(connection: aiosqlite.Connection, code_hash: bytes, wanted: CodeWanted, expires_at_ms: int) -> None:
    """Keeps a code and what the phone that says it will be. Codes that are over are forgotten on the way."""
    await connection.execute("DELETE FROM code WHERE expires_at_ms < ?", (expires_at_ms - 86_400_000,))
    await connection.execute(
        "INSERT INTO code (code_hash, name, technician, role, expires_at_ms) VALUES (?, ?, ?, ?, ?)",
        (code_hash, wanted.phone_name, wanted.technician, wanted.role, expires_at_ms),
    )


async def find_code(connection: aiosqlite.Connection, code_hash: bytes) -> tuple[CodeWanted, int, int | None] | None:
    """What the code pairs, when it is over, and when it was used; None: there is no such code."""
    rows = await connection.execute_fetchall(
        "SELECT name, technician, role, expires_at_ms, used_at_ms FROM code WHERE code_hash = ?", (code_hash,)
    )
    for name, technician, role, expires_at_ms, used_at_ms in rows:
        return CodeWanted(phone_name=name, technician=technician, role=role), expires_at_ms, used_at_ms
    return None


async def use_code(connection: aiosqlite.Connection, code_hash: bytes, now_ms: int) -> None:
    """Notes that the code was used: it never works again."""
    await connection.execute("UPDATE code SET used_at_ms = ? WHERE code_hash = ?", (now_ms, code_hash))


async def add_phone(connection: aiosqlite.Connection, phone: Phone, token_hash: bytes) -> None:
    """Keeps a phone that was just paired."""
    await connection.execute(
        "INSERT INTO phone (id, token_hash, name, technician, role, paired_at_ms) VALUES (?, ?, ?, ?, ?, ?)",
        (phone.id, token_hash, phone.name, phone.technician, phone.role, phone.paired_at_ms),
    )


async def phone_of(connection: Asked, token_hash: bytes) -> Phone | None:
    """The phone that has this token, revoked or not."""
    rows = await connection.execute_fetchall(f"SELECT {_COLUMNS} FROM phone WHERE token_hash = ?", (token_hash,))
    return next(map(_phone, rows), None)


async def find_phone(connection: aiosqlite.Connection, phone_id: str) -> Phone | None:
    """The phone of this id, revoked or not."""
    rows = await connection.execute_fetchall(f"SELECT {_COLUMNS} FROM phone WHERE id = ?", (phone_id,))
    return next(map(_phone, rows), None)


async def all_phones(connection: aiosqlite.Connection) -> tuple[Phone, ...]:
    """Every phone that was ever paired, the newest first."""
    rows = await connection.execute_fetchall(f"SELECT {_COLUMNS} FROM phone ORDER BY paired_at_ms DESC, id")
    return tuple(map(_phone, rows))


async def note_synced(connection: Written, phone_id: str, now_ms: int) -> None:
    """The phone has just sent or fetched the record."""
    await connection.execute("UPDATE phone SET last_synced_at_ms = ? WHERE id = ?", (now_ms, phone_id))


async def revoke(connection: aiosqlite.Connection, phone_id: str, now_ms: int) -> None:
    """The phone's token works no more; the first time stays."""
    await connection.execute(
        "UPDATE phone SET revoked_at_ms = coalesce(revoked_at_ms, ?) WHERE id = ?", (now_ms, phone_id)
    )


async def note_origin(connection: aiosqlite.Connection, url: str, now_ms: int) -> None:
    """The app was handed out under this address."""
    await connection.execute(
        "INSERT INTO origin (url, first_at_ms, last_at_ms) VALUES (?, ?, ?)"
        " ON CONFLICT (url) DO UPDATE SET last_at_ms = excluded.last_at_ms",
        (url, now_ms, now_ms),
    )


async def origins(connection: aiosqlite.Connection) -> list[tuple[str, int]]:
    """Every address the app was handed out under, the latest used first, with when that was."""
    rows = await connection.execute_fetchall("SELECT url, last_at_ms FROM origin ORDER BY last_at_ms DESC, url")
    return [(url, last) for url, last in rows]
