"""A batch in, a page out.

Decides: that every change of a batch gets its own answer in one transaction, that a repeat is
answered `had`, and that a change is numbered inside the transaction that stores it, so that no
reader can pass a number that is still to be committed.
"""

import json
from collections.abc import Sequence
from typing import Annotated

import msgspec
from msgspec import Meta, Raw, Struct

from server.problems import Refusal, shown, strict_json
from server.store import change_log
from server.store.at_once import Asked, Written
from server.store.database import Database, clock_ms
from server.store.forgotten import words_were_taken_out
from server.sync.accept import Accepted, Vocabulary, accept_change
from server.sync.apply import apply_changes
from server.sync.forget import without_words
from shared_models.change import BatchAnswer, Change, ChangeAnswer, ChangePage, NumberedChange, Problem

LARGEST_BATCH = 5_000
"""Changes in one batch, at most: they are one transaction, and everyone else's waits for it. A phone sends 200."""

READ_AT_ONCE = 20
"""Changes of a batch that are read before anybody else who asks something goes first; about a millisecond's work."""

PAGE_BODY_BYTES = 2_000_000
"""A page holds no further change once its bodies reach this: what a phone reads in one go."""


_Closed = Annotated[Raw, Meta(extra_json_schema={
    "anyOf": [{"$ref": "#/components/schemas/Change"}, {"description": "anything else is answered `refused`"}]
})]


class SentBatch(Struct, frozen=True, forbid_unknown_fields=True):
    """A `ChangeBatch` with its changes still closed: one bad envelope must not keep the others out."""

    changes: tuple[_Closed, ...]


def open_batch(raw: bytes) -> Sequence[Raw | bytes]:
    """The single changes of a `ChangeBatch`, still closed.

    A browser may write half a character (an emoji cut in two), which no strict reader takes. Then the
    batch is cut up leniently, so that only the change that holds it is refused.

    Raises:
        Refusal: 400, for what cannot be cut up at all; 413, for more than `LARGEST_BATCH`.
    """
    sent = _cut_up(raw)
    if len(sent) > LARGEST_BATCH:
        raise Refusal(413, Problem(
            code="too_many_changes", message=f"A batch holds at most {LARGEST_BATCH} changes.", where="changes",
            given=f"{len(sent)} changes", expected=f"at most {LARGEST_BATCH}", example="send them in smaller batches",
        ))
    return sent


def _cut_up(raw: bytes) -> Sequence[Raw | bytes]:
    try:
        return strict_json(raw, SentBatch).changes
    except Refusal:
        try:
            loose = json.loads(raw)
        except (ValueError, RecursionError):
            loose = None
        if not isinstance(loose, dict) or loose.keys() != {"changes"} or not isinstance(loose["changes"], list):
            raise
        return [json.dumps(one).encode() for one in loose["changes"]]


async def take_batch(database: Database, sent: Sequence[Raw | bytes], vocabulary: Vocabulary) -> BatchAnswer:
    """Stores what can be stored and answers for each change, in the order of the batch.

    All that is stored is on the disk when this returns; when it raises, nothing is stored. Batches are read one after
    another: side by side all would be read before any was written.
    """
    async with database.in_turn:
        read: list[Accepted | ChangeAnswer] = []
        for raw in sent:
            read.append(_read(raw, vocabulary))
            if len(read) % READ_AT_ONCE == 0:
                await database.way.to_others()
    told = await database.together(_store_in_this_record, read, LARGEST_BATCH)
    epoch = told[0][1] if told else await database.epoch()
    return BatchAnswer(answers=tuple([answer for answer, _ in told]), server_ms=clock_ms(), epoch=epoch)


async def hand_out(database: Database, after: int, limit: int) -> ChangePage:
    """The changes numbered above `after`, oldest first, at most `limit`; see `change_log.page`."""

    async def read(record: Asked) -> tuple[tuple[NumberedChange, ...], bool, str]:
        return *await change_log.page(record, after, limit, PAGE_BODY_BYTES), await change_log.epoch(record)

    changes, more, epoch = await database.read_at_once(read)
    next_after = changes[-1].seq if changes else after
    return ChangePage(changes=changes, next_after=next_after, more=more, epoch=epoch, server_ms=clock_ms())


def _read(raw: Raw | bytes, vocabulary: Vocabulary) -> Accepted | ChangeAnswer:
    try:
        return accept_change(raw, vocabulary)
    except Refusal as refusal:
        return ChangeAnswer(id=_id_in(raw), result="refused", problem=refusal.problem)


def _id_in(raw: Raw | bytes) -> str:
    """The id of a change that could not be read, if there is one to be seen."""
    try:
        given = json.loads(bytes(raw))
        return str(given.get("id", ""))[:80].encode("utf-8", "replace").decode() if isinstance(given, dict) else ""
    except (ValueError, RecursionError):
        return ""


_Told = tuple[ChangeAnswer, str]
"""An answer, and the epoch of the record it is true of."""


async def _store_in_this_record(
    connection: Written, read: Sequence[Accepted | ChangeAnswer]
) -> list[_Told]:
    """Each answer with the record it is true of, read in the same transaction: a restored one does not have it."""
    answers = await _store(connection, read)
    epoch = await change_log.epoch(connection)
    return [(answer, epoch) for answer in answers]


async def _store(connection: Written, read: Sequence[Accepted | ChangeAnswer]) -> list[ChangeAnswer]:
    """Stores what is new, all of it by a few statements, and answers for each change; the refused ones are answered.

    As a rule all is new, and then the log need not be asked first: its own table says so.
    """
    seq = await change_log.next_seq(connection)
    answers: list[ChangeAnswer] = []
    stored: list[tuple[Accepted, int]] = []
    for one in read:
        if isinstance(one, ChangeAnswer):
            answers.append(one)
        else:
            stored.append((one, seq))
            answers.append(_stored(one, seq))
            seq += 1
    if not await change_log.append_if_new(connection, _for_the_log(stored)):
        answers, stored = await _one_by_one(connection, read)
        await change_log.append(connection, _for_the_log(stored))
    await apply_changes(connection, stored)
    return answers


def _stored(one: Accepted, seq: int) -> ChangeAnswer:
    return ChangeAnswer(id=one.change.id, result="stored" if one.body else "stored_newer", seq=seq)


def _for_the_log(stored: Sequence[tuple[Accepted, int]]) -> list[tuple[int, Change, int, bool]]:
    return [(seq, one.change, one.v, one.body is not None) for one, seq in stored]


async def _one_by_one(
    connection: Asked, read: Sequence[Accepted | ChangeAnswer]
) -> tuple[list[ChangeAnswer], list[tuple[Accepted, int]]]:
    """What each is answered where some are there already, and what is to be stored, each with its number."""
    changes = [one.change for one in read if isinstance(one, Accepted)]
    there = await change_log.find(connection, [change.id for change in changes])
    taken = await change_log.find_places(connection, [(change.device, change.device_seq) for change in changes])
    answers: list[ChangeAnswer] = []
    stored: list[tuple[Accepted, int]] = []
    seq = await change_log.next_seq(connection)
    for one in read:
        if isinstance(one, ChangeAnswer):
            answers.append(one)
        elif known := there.get(one.change.id):
            answers.append(await _again(connection, known, one.change))
        elif other := taken.get((one.change.device, one.change.device_seq)):
            answers.append(_place_taken(one.change, other))
        else:
            there[one.change.id] = NumberedChange(seq=seq, change=one.change)
            taken[one.change.device, one.change.device_seq] = one.change.id
            stored.append((one, seq))
            answers.append(_stored(one, seq))
            seq += 1
    return answers, stored


async def _again(connection: Asked, there: NumberedChange, change: Change) -> ChangeAnswer:
    """What a change of an id is answered that is there already."""
    if _same(there.change, change) or await words_were_taken_out(connection, change.id) or _forgot(there, change):
        return ChangeAnswer(id=change.id, result="had", seq=there.seq)
    return ChangeAnswer(id=change.id, result="refused", problem=Problem(
        code="id_taken", message="Another change of this id is stored already, and a stored change never changes.",
        where="id", given=shown(change.id), expected="a new id for a new change, or the stored change unaltered",
        example=shown(there.change),
    ))


def _place_taken(change: Change, other_id: str) -> ChangeAnswer:
    return ChangeAnswer(id=change.id, result="refused", problem=Problem(
        code="device_seq_taken", message="This device has sent another change with this number already.",
        where="device_seq", given=str(change.device_seq),
        expected=f"a number that change {other_id} of this device does not have",
        example="the device's last number + 1",
    ))


def _same(there: Change, given: Change) -> bool:
    """Whether two changes of one id say the same. Bodies by value: a device may write JSON anew."""
    envelopes = [(change.device, change.device_seq, change.hlc, change.actor) for change in (there, given)]
    if envelopes[0] != envelopes[1]:
        return False
    return bytes(there.body) == bytes(given.body) or _in_one_order(there.body) == _in_one_order(given.body)


def _forgot(there: NumberedChange, given: Change) -> bool:
    """Whether the device has forgotten its owner's words since, and this record, an older one, not yet."""
    without = without_words(bytes(there.change.body))
    return without is not None and _same(msgspec.structs.replace(there.change, body=Raw(without)), given)


def _in_one_order(body: Raw) -> bytes:
    return msgspec.json.encode(msgspec.json.decode(body), order="deterministic")
