"""Applies one accepted change to the record.

The rule, which the phone has too (`pwa/src/store/apply.ts`; `tests/vectors/apply` holds the two
equal): facts are a set by id that only grows; each field of an entity keeps the value with the
largest (hlc, device, change id); a removal wins whatever the order. So the same changes give the
same record in any order, however often and in whatever portions they come.
"""

import aiosqlite

from server.store import record
from server.sync.accept import Accepted
from shared_models.change import Added, Change, FieldsSet, Removed


def stamp_of(change: Change) -> str:
    """One text that orders as (hlc, device, id): a space is below every character an id may hold."""
    return f"{change.hlc} {change.device} {change.id}"


async def apply_change(connection: aiosqlite.Connection, accepted: Accepted, seq: int) -> None:
    """Applies the change that has the number `seq`. A body made by a newer app is left closed."""
    body, stamp = accepted.body, stamp_of(accepted.change)
    match body:
        case Added():
            await record.add_fact(connection, body.kind, accepted.record_id, _text(body.record), stamp, seq)
        case FieldsSet():
            for name, value in body.fields.items():
                await record.set_field(connection, body.kind, body.id, name, _text(value), stamp, seq)
        case Removed():
            await record.remove(connection, body.kind, body.id, body.why, stamp, seq)
        case None:
            pass


def _text(raw: object) -> str:
    return bytes(raw).decode()  # type: ignore[call-overload]  # Raw is a buffer
