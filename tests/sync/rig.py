"""A record in a folder, and its whole visible state in the shape of the vectors' `state`."""

import json
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import msgspec
from msgspec import Raw

from server.store import change_log, record
from server.store.database import Database
from server.sync.accept import Vocabulary
from server.sync.catch_up import apply_waiting
from server.sync.exchange import take_batch
from shared_models.change import BatchAnswer


@asynccontextmanager
async def open_record(folder: Path, vocabulary: Vocabulary | None = None) -> AsyncIterator[Database]:
    """The record as the server opens it at its start."""
    database = await Database.open(folder)
    try:
        await apply_waiting(database, vocabulary or Vocabulary())
        yield database
    finally:
        await database.close()


async def push(database: Database, changes: Sequence[Any], vocabulary: Vocabulary | None = None) -> BatchAnswer:
    """Sends plain changes as one batch."""
    return await take_batch(database, [Raw(json.dumps(one).encode()) for one in changes], vocabulary or Vocabulary())


async def whole_state(database: Database) -> dict[str, Any]:
    """Everything visible, by value: facts, fields, what was removed, what waits for an update."""
    async with database.reading() as connection:
        facts = await record.visible_facts(connection)
        fields = await record.visible_fields(connection)
        return {
            "facts": {key: msgspec.json.decode(text) for key, text in facts.items()},
            "fields": {
                key: {name: msgspec.json.decode(text) for name, text in values.items()}
                for key, values in fields.items()
            },
            "removed": await record.removed_keys(connection),
            "newer": await change_log.not_applied_ids(connection),
        }
