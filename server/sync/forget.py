"""What a shop forgets: an owner's words about a job that was closed long ago.

Decides: which fields of a job can name or quote an owner (`OWNER_WORDS`); that they are emptied by a change
like any other, so that every phone empties them too; and that the words also leave the log, where the changes
that brought them stay with their numbers. What was measured, seen and decided stays: it is about a board.
"""

import uuid
from typing import Any

import aiosqlite
import msgspec
from msgspec import Raw

from server.store import change_log, forgotten
from server.store.database import Database
from server.sync.accept import Accepted
from server.sync.apply import apply_change
from shared_models.base import BODY_V
from shared_models.change import Change, FieldsSet

OWNER_WORDS: dict[str, tuple[str, ...] | None] = {
    "title": None, "note": None, "intake": ("opened_by", "in_their_words"),
}
"""Fields of a job, and of those that hold an object the parts."""

DAY_MS = 86_400_000


async def forget_owners(database: Database, now_ms: int, after_days: int) -> int:
    """Empties the owner's words of every job that is gone for `after_days` days; gives how many jobs had some."""
    before = f"{max(now_ms - after_days * DAY_MS, 0):015d}"
    forgot = 0
    async with database.writing() as connection:
        for job_id in await forgotten.closed_before(connection, before):
            fields = await forgotten.job_fields(connection, job_id)
            emptied = {
                name: Raw(text) for name, (value, _) in fields.items() if (text := _emptied(name, value)) is not None
            }
            if emptied:
                latest_ms = max(int(stamp[:15]) for name, (_, stamp) in fields.items() if name in emptied)
                await _append(connection, job_id, emptied, max(now_ms, latest_ms + 1))
                forgot += 1
            for seq, body in await forgotten.bodies_about(connection, job_id):
                if (without := _without_words(body)) is not None:
                    await forgotten.put_body(connection, seq, without)
    if forgot:
        await database.settle()
    return forgot


async def _append(connection: aiosqlite.Connection, job_id: str, fields: dict[str, Raw], stamp_ms: int) -> None:
    body = FieldsSet(kind="job", id=job_id, fields=fields)
    change_id = str(uuid.uuid4())
    change = Change(
        id=change_id, device=f"shop-{change_id}", device_seq=1, hlc=f"{stamp_ms:015d}-00000", actor="",
        body=Raw(msgspec.json.encode(body)),
    )
    seq = await change_log.append(connection, change, BODY_V, applied=True)
    await apply_change(connection, Accepted(change, BODY_V, body, job_id), seq)


def _without_words(body: bytes) -> bytes | None:
    """The body with its owner's words emptied; None when it holds none."""
    whole: dict[str, Any] = msgspec.json.decode(body)
    if whole.get("kind") != "job":
        return None
    held = {name: _emptied(name, msgspec.json.encode(value)) for name, value in whole["fields"].items()}
    if not any(text is not None for text in held.values()):
        return None
    emptied = {name: msgspec.json.decode(text) for name, text in held.items() if text is not None}
    return msgspec.json.encode({**whole, "fields": {**whole["fields"], **emptied}})


def _emptied(name: str, value: str | bytes) -> bytes | None:
    """The field's value as JSON without an owner's words; None when there are none in it."""
    if name not in OWNER_WORDS:
        return None
    held, parts = msgspec.json.decode(value), OWNER_WORDS[name]
    if parts is None:
        return b'""' if held else None
    if not isinstance(held, dict) or not any(held.get(part) for part in parts):
        return None
    return msgspec.json.encode({key: "" if key in parts else each for key, each in held.items()})
