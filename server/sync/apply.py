"""Applies accepted changes to the record.

The rule, which the phone has too (`pwa/src/store/apply.ts`; `tests/vectors/apply` holds the two
equal): facts are a set by id that only grows; each field of an entity keeps the value with the
largest (hlc, device, change id); a removal wins whatever the order. So the same changes give the
same record in any order, however often and in whatever portions they come.
"""

from collections.abc import Sequence
from typing import Any

from server.store import record
from server.store.at_once import Written
from server.sync.accept import Accepted
from shared_models.change import Added, Change, FieldsSet, Removed


def stamp_of(change: Change) -> str:
    """One text that orders as (hlc, device, id): a space is below every character an id may hold."""
    return f"{change.hlc} {change.device} {change.id}"


async def apply_changes(connection: Written, numbered: Sequence[tuple[Accepted, int]]) -> None:
    """Applies changes, each with its number. Bodies made by a newer app are left closed."""
    facts: list[Any] = []
    fields: list[Any] = []
    removals: list[Any] = []
    for accepted, seq in numbered:
        body, stamp = accepted.body, stamp_of(accepted.change)
        match body:
            case Added():
                facts += (body.kind, accepted.record_id, str(body.record, "utf-8"), stamp, seq)
            case FieldsSet():
                for name, value in body.fields.items():
                    fields += (body.kind, body.id, name, str(value, "utf-8"), stamp, seq)
            case Removed():
                removals += (body.kind, body.id, body.why, stamp, seq)
            case None:
                pass
    for rows, put in ((facts, record.add_facts), (fields, record.set_fields), (removals, record.remove)):
        if rows:
            await put(connection, rows)
