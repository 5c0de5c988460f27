"""What a shop forgets: an owner's words, names, signatures and the pictures of a job that is gone for long.

Decides: which fields of a job, and which words beside what was read, seen, handed over, signed and closed, can name
or quote an owner (`OWNER_WORDS`, `NOTES`); that every picture of such a job goes, since what is in it (a name on a
sticker, an owner's screen) nobody can tell from its record; that all of it is emptied or taken back by changes like
any other, so that every phone does the same; and that the words also leave the log, where the changes that brought
them stay with their numbers. What was measured, seen and decided stays: it is about a board; so does that something
was agreed to, handed over or sanitised, and when. A healthy board has no owner: its jobs, pictures and notes are
left alone.
"""

import uuid
from collections.abc import AsyncIterator
from typing import Any

import aiosqlite
import msgspec
from msgspec import Raw

from server.photos.files import PhotoFolder
from server.store import change_log, forgotten, record
from server.store.database import Database
from server.sync.accept import Accepted
from server.sync.apply import apply_changes
from shared_models.base import BODY_V
from shared_models.change import Added, Change, FieldsSet, Removed

OWNER_WORDS: dict[str, tuple[str, ...] | None] = {
    "title": None, "note": None, "intake": ("opened_by", "in_their_words"),
}
"""Fields of a job, and of those that hold an object the parts."""

NOTES: dict[str, dict[str, None]] = {
    "reading": {"note": None},
    "observation": {"note": None},
    "custody": dict.fromkeys(("from_whom", "to_whom", "method", "verified_how", "note")),
    "consent": dict.fromkeys(("signed_name", "strokes")),
    "closing": {"note": None},
}
"""Fields of facts, by kind. Why a step of making safe was waived is no such note: it is about the device. What a
consent said stays: those words are the table's, the same for everybody.
"""

DAY_MS = 86_400_000
WHY_TAKEN_BACK = "forgotten after the shop's time"


async def forget_owners(database: Database, photos: PhotoFolder, now_ms: int, after_days: int) -> int:
    """Forgets what is the owner's of every job that is gone for `after_days` days; gives how many jobs had any."""
    before = f"{max(now_ms - after_days * DAY_MS, 0):015d}"
    async with database.writing() as connection:
        jobs = await forgotten.closed_before(connection, before)
        forgot = sum([await _forget(connection, job_id, now_ms) for job_id in jobs])
        emptied = False
        for seq, body in await forgotten.bodies_about(connection, jobs, list(NOTES)):
            if (without := without_words(body)) is not None:
                await forgotten.put_body(connection, seq, without)
                emptied = True
        pictures = await forgotten.pictures_nowhere(connection, jobs)
    if emptied:
        await database.settle()
    for sha256 in pictures:
        photos.remove(sha256)
    return forgot


def without_words(body: bytes) -> bytes | None:
    """The body with its owner's words emptied; None when it holds none."""
    whole: dict[str, Any] = msgspec.json.decode(body)
    kind = whole.get("kind")
    if whole.get("what") == "fields_set" and kind == "job":
        where, words = "fields", OWNER_WORDS
    elif whole.get("what") == "added" and kind in NOTES:
        where, words = "record", NOTES[kind]
    else:
        return None
    emptied = _emptied(whole[where], words)
    return msgspec.json.encode({**whole, where: {**whole[where], **emptied}}) if emptied else None


async def _forget(connection: aiosqlite.Connection, job_id: str, now_ms: int) -> bool:
    """Makes the changes that empty what is shown of this job; gives whether there was anything."""
    had = False
    async for body, record_id, latest_ms in _emptying(connection, job_id):
        had = True
        change_id = str(uuid.uuid4())
        change = Change(
            id=change_id, device=f"shop-{change_id}", device_seq=1, actor="",
            hlc=f"{max(now_ms, latest_ms + 1):015d}-00000", body=Raw(msgspec.json.encode(body)),
        )
        seq = await change_log.next_seq(connection)
        await change_log.append(connection, [(seq, change, BODY_V, True)])
        await apply_changes(connection, [(Accepted(change, BODY_V, body, record_id), seq)])
    return had


async def _emptying(
    connection: aiosqlite.Connection, job_id: str,
) -> AsyncIterator[tuple[Added | FieldsSet | Removed, str, int]]:
    """What is to be changed, the record it is about, and the time (ms) it must come after to count."""
    fields = await forgotten.job_fields(connection, job_id)
    if emptied := _emptied({name: msgspec.json.decode(value) for name, (value, _) in fields.items()}, OWNER_WORDS):
        latest_ms = max(int(stamp[:15]) for name, (_, stamp) in fields.items() if name in emptied)
        raw = {name: Raw(msgspec.json.encode(value)) for name, value in emptied.items()}
        yield FieldsSet(kind="job", id=job_id, fields=raw), job_id, latest_ms
    for kind, words in NOTES.items():
        for record_id, text, stamp in await forgotten.facts_with_stamps(connection, kind, job_id):
            if emptied := _emptied(whole := msgspec.json.decode(text), words):
                raw = Raw(msgspec.json.encode({**whole, **emptied}))
                yield Added(kind=kind, record=raw), record_id, int(stamp[:15])  # type: ignore[arg-type]
    photos = (await record.facts_of_owners(connection, ("photo",), (job_id,)))["photo", job_id]
    for record_id, _, is_removed in photos:
        if not is_removed:
            yield Removed(kind="photo", id=record_id, why=WHY_TAKEN_BACK), record_id, 0


def _emptied(held: dict[str, Any], words: Any) -> dict[str, Any]:
    """Those of the values that hold an owner's words, without them."""
    found: dict[str, Any] = {}
    for name in words.keys() & held.keys():
        value, parts = held[name], words[name]
        if parts is None and value:
            found[name] = type(value)()  # an empty text, or no strokes
        elif parts is not None and isinstance(value, dict) and any(value.get(part) for part in parts):
            found[name] = {key: "" if key in parts else each for key, each in value.items()}
    return found
