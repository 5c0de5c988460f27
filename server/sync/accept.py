"""May this change be taken, and what does its body say?

The envelope is strict. Of the body only {what, v} is read first: with a `v` above ours it stays
closed and is kept byte for byte; else it is decoded strictly, and records and fields by their kind.

A stamp far ahead of this server's clock is taken as it is. Refusing it would keep an edit from the
shop because of a wrong clock, and changing it would make the device and the shop order edits
differently. The answer carries the server's time, so that the device can say its clock is wrong and
stay behind; its own clock never follows a stamp more than five minutes ahead (the device's part).
"""

from collections.abc import Mapping
from typing import Annotated, Any, NamedTuple, Protocol

import msgspec
from msgspec import Meta, Raw, Struct

from server.problems import Refusal, shown, strict_json
from shared_models.base import BODY_V, Id
from shared_models.change import ENTITY_TYPES, FACT_TYPES, Added, Body, Change, FieldsSet, Problem, Removed

NOT_FIELDS = frozenset({"id", "v"})
"""Fields of an entity that no change sets: its name, and the version mark of the body."""


class BodyHead(Struct, frozen=True):
    """What is read of every body, whatever version made it. A body without `v` is of version 1."""

    what: str
    v: Annotated[int, Meta(ge=1, le=1_000_000)] = 1


class _AddedHere(Added, frozen=True, kw_only=True, tag="added"):
    v: int = 1


class _FieldsSetHere(FieldsSet, frozen=True, kw_only=True, tag="fields_set"):
    v: int = 1


class _RemovedHere(Removed, frozen=True, kw_only=True, tag="removed"):
    v: int = 1


_READABLE = msgspec.json.Decoder(_AddedHere | _FieldsSetHere | _RemovedHere)
"""Reads in one go what nearly every body is: sound, and of a version that is known here."""


class _Record(Protocol):
    """What every fact has."""

    id: Id
    v: int


class _RecordHead(Struct, frozen=True):
    v: int = 1


class Vocabulary(NamedTuple):
    """What this server can read: bodies up to `body_v`, facts and entities by kind."""

    body_v: int = BODY_V
    facts: Mapping[str, Any] = FACT_TYPES
    entities: Mapping[str, Any] = ENTITY_TYPES


class Accepted(Struct, frozen=True, gc=False):
    """A change that may be stored. `body` is None when a newer app made it: kept, not read.

    `record_id` is the id of the fact, the entity or the removed record; "" for a closed body.
    """

    change: Change
    v: int
    body: Added | FieldsSet | Removed | None
    record_id: str = ""


def accept_change(raw: bytes | Raw, vocabulary: Vocabulary) -> Accepted:
    """Reads one change of a batch.

    Raises:
        Refusal: the path in the problem begins with the field of the change (`body.record.touch`).
    """
    return accept_body(strict_json(raw, Change), vocabulary)


def accept_body(change: Change, vocabulary: Vocabulary) -> Accepted:
    """Reads the body of a change whose envelope is sound; raises like `accept_change`."""
    body, v = _body_of(change.body, vocabulary.body_v)
    if body is None:
        return Accepted(change, v, None)
    if isinstance(body, Added):
        return Accepted(change, v, body, _check_record(body, v, vocabulary))
    if isinstance(body, FieldsSet):
        _check_fields(body, vocabulary)
    return Accepted(change, v, body, body.id)


def _body_of(raw: Raw, up_to_v: int) -> tuple[Added | FieldsSet | Removed | None, int]:
    """The body and its version; None in place of one that a newer app made."""
    try:
        body = _READABLE.decode(raw)
        if 1 <= body.v <= up_to_v:
            return body, body.v
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
        pass  # what is wrong with it, or that it is a newer app's, is told below
    head: BodyHead = strict_json(raw, BodyHead, "body")
    if head.v > up_to_v:
        strict_json(raw, dict[str, Any], "body")  # whole and readable, or no later reader could open it
        return None, head.v
    return strict_json(raw, Body, "body"), head.v


def _check_record(body: Added, v: int, vocabulary: Vocabulary) -> str:
    record: _Record = strict_json(body.record, vocabulary.facts[body.kind], "body.record")
    # One that does not say has today's `v` by default, and is of version 1.
    if record.v > v and msgspec.json.decode(body.record, type=_RecordHead).v > v:
        raise Refusal(400, Problem(
            code="wrong_value", message="The record says it is newer than the body that carries it.",
            where="body.record.v", given=str(record.v), expected=f"at most {v}, the `v` of the body", example=str(v),
        ))
    return record.id


def _check_fields(body: FieldsSet, vocabulary: Vocabulary) -> None:
    entity = vocabulary.entities[body.kind]
    types = {field.encode_name: field.type for field in msgspec.structs.fields(entity)}
    names = [name for name in types if name not in NOT_FIELDS]
    only = f"only the fields {', '.join(f'`{name}`' for name in names)} of {body.kind}"
    if not body.fields:
        raise Refusal(400, Problem(
            code="missing_field", message="A change of fields sets at least one.", where="body.fields",
            given="{}", expected=only, example=f'{{"{names[0]}": ...}}',
        ))
    for name, value in body.fields.items():
        if name not in names:
            raise Refusal(400, Problem(
                code="unknown_field", message=f"A {body.kind} has no field `{name}` that can be set.",
                where=f"body.fields.{name}", given=shown(value), expected=only, example=f'{{"{names[0]}": ...}}',
            ))
        strict_json(value, types[name], f"body.fields.{name}")
